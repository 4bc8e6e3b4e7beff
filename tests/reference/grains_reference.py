"""Measures examples/olive-stone-grains.jpg with scikit-image and OpenCV, as a check from outside on areas, Feret diameters,
perimeters and solidity; writes grains_reference.json beside this script. Python with NumPy, scikit-image, OpenCV and Pillow:

    python3 grains_reference.py

The ground is taken away by a wide Gaussian of the ground alone; outlines are scikit-image's `find_contours` at half the
height between ground and grain, on the picture blurred by 1.2 pixels; hull, area and length are OpenCV's.
"""

import json
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from scipy import ndimage
from skimage import filters, measure

HERE = Path(__file__).parent
grey = np.asarray(Image.open(HERE.parent.parent / "examples" / "olive-stone-grains.jpg").convert("L"), float) / 255
ground = grey > filters.threshold_otsu(grey)
ground = ndimage.binary_erosion(ground, iterations=4)
light = filters.gaussian(grey * ground, 60) / filters.gaussian(ground.astype(float), 60)
flat = filters.gaussian(1 - grey / light, 1.2)
labels = measure.label(flat > filters.threshold_otsu(flat))
grains = []
for region in measure.regionprops(labels, intensity_image=flat):
    top, left, bottom, right = region.bbox
    if region.area < 50 or top == 0 or left == 0 or bottom == grey.shape[0] or right == grey.shape[1]:
        continue
    crop = flat[top - 4 : bottom + 4, left - 4 : right + 4]
    half = 0.5 * np.median(flat[labels == region.label])
    ring = max(measure.find_contours(crop, half), key=len)[:, ::-1].astype(np.float32)
    hull = cv2.convexHull(ring)[:, 0]
    sides = np.diff(np.vstack([hull, hull[:1]]), axis=0)
    normals = np.stack([sides[:, 1], -sides[:, 0]], 1) / np.hypot(*sides.T)[:, None]
    spans = hull @ normals.T
    grains.append(
        {
            "x": float(ring[:, 0].mean() + left - 4 + 0.5),
            "y": float(ring[:, 1].mean() + top - 4 + 0.5),
            "area": float(cv2.contourArea(ring)),
            "perimeter": float(cv2.arcLength(ring, True)),
            "feret_max": float(max(np.hypot(*(a - b)) for a in hull for b in hull)),
            "feret_min": float((spans.max(0) - spans.min(0)).min()),
            "solidity": float(cv2.contourArea(ring) / cv2.contourArea(hull)),
        }
    )
(HERE / "grains_reference.json").write_text(json.dumps({k: [round(g[k], 4) for g in grains] for k in grains[0]}, indent=None) + "\n")
print(len(grains))
