"""Draws examples/olive-stone-grains.jpg, and writes its truth beside this script.

Grains of the invented workshop: polygons of known inscribed circle, shrunk and grown again by the corner radius (so that
every corner has it), spread without touching, some across the edge, dark on light ground under uneven light, blurred and
grained. Every polygon is tangential (all sides touch one circle), so that its roundness is the corner radius over that
circle's radius. 5 um per pixel. Python with NumPy and Pillow:

    python3 olive_picture.py
"""

import csv
import io
from pathlib import Path

import numpy as np
from PIL import Image, ImageFilter

HERE = Path(__file__).parent
W, H, FINE = 1500, 1100, 3
random = np.random.default_rng(20241)


def distance(x, y, normals, inner, r):
    """Signed distance to a tangential polygon of inscribed radius `inner`, minus r."""
    ends = []
    for k, a in enumerate(normals):
        b = normals[(k + 1) % len(normals)]
        det = np.sin(b - a)
        ends.append(((np.sin(b) - np.sin(a)) / det * inner, (np.cos(a) - np.cos(b)) / det * inner))
    inside = np.max([x * np.cos(a) + y * np.sin(a) - inner for a in normals], axis=0)
    near = np.full_like(x, np.inf)
    for k, (px, py) in enumerate(ends):
        qx, qy = ends[(k + 1) % len(ends)]
        t = np.clip(((x - px) * (qx - px) + (y - py) * (qy - py)) / ((qx - px) ** 2 + (qy - py) ** 2), 0, 1)
        near = np.minimum(near, np.hypot(x - px - t * (qx - px), y - py - t * (qy - py)))
    return np.where(inside < 0, inside, near) - r, max(np.hypot(*e) for e in ends)


def grain():
    while True:
        sides = int(random.integers(4, 7))
        gaps = random.uniform(0.75, 1.25, sides)
        turns = 2 * np.pi * gaps / gaps.sum()
        if turns.max() < 2.0 and turns.min() > 0.7:
            break
    normals = random.uniform(0, 2 * np.pi) + np.cumsum(turns)
    radius = random.uniform(42, 62)
    return normals, radius, random.uniform(0.14, 0.42)


grey = np.full((H * FINE, W * FINE), 0.0)
placed, rows = [], []
while len(placed) < 60 and len(rows) < 5000:
    normals, radius, roundness = grain()
    inner, r = radius * (1 - roundness), radius * roundness
    cx, cy = random.uniform(0, W), random.uniform(0, H)
    _, tip = distance(np.zeros(1), np.zeros(1), normals, inner, r)
    reach = tip + r
    if any(np.hypot(cx - px, cy - py) < reach + pr + 6 for px, py, pr in placed):
        rows.append(None)
        continue
    placed.append((cx, cy, reach))
    box = [int(max(0, (c - reach - 2) * FINE)) for c in (cx, cy)]
    end = [int(min(m * FINE, (c + reach + 2) * FINE)) for c, m in ((cx, W), (cy, H))]
    ys, xs = np.mgrid[box[1] : end[1], box[0] : end[0]]
    d, _ = distance((xs + 0.5) / FINE - cx, (ys + 0.5) / FINE - cy, normals, inner, r)
    grey[box[1] : end[1], box[0] : end[0]] = np.maximum(grey[box[1] : end[1], box[0] : end[0]], d < 0)
    whole = reach < cx < W - reach and reach < cy < H - reach
    # A tangential polygon with rounded corners: inner perimeter p has area p inner / 2, and grows by r.
    tangents = [2 * inner * np.tan(t / 2) for t in np.diff(np.append(normals, normals[0] + 2 * np.pi))]
    area = inner * sum(tangents) / 2 + r * sum(tangents) + np.pi * r * r
    rows.append((f"{cx:.2f}", f"{cy:.2f}", f"{area:.1f}", f"{roundness:.4f}", "whole" if whole else "edge"))

share = grey.reshape(H, FINE, W, FINE).mean(axis=(1, 3))
y, x = np.mgrid[0:H, 0:W]
light = 0.88 - 0.18 * ((x / W - 0.35) ** 2 + (y / H - 0.6) ** 2)
shade = 0.42 + 0.03 * np.sin(x / 17.0) * np.cos(y / 23.0)
picture = light * (1 - share * (1 - shade))
picture = Image.fromarray((picture * 255).round().astype(np.uint8)).filter(ImageFilter.GaussianBlur(0.8))
noisy = np.asarray(picture, float) + random.normal(0, 1.5, (H, W))
out = io.BytesIO()
Image.fromarray(noisy.round().clip(0, 255).astype(np.uint8)).save(out, "JPEG", quality=85)
(HERE.parent.parent / "examples" / "olive-stone-grains.jpg").write_bytes(out.getvalue())
with open(HERE / "olive_picture.csv", "w", newline="") as file:
    table = csv.writer(file, lineterminator="\n")
    table.writerow(["x", "y", "area_px2", "roundness", "where"])
    table.writerows(row for row in rows if row)
print(len(placed), "grains,", len(out.getvalue()), "bytes")
