"""The same draws of the same model, vectorised over draws in NumPy: what `benches/confidence.rs` is held against.

Three log-normal powders: inputs from a scrambled Sobol sequence, index (the reference scrub rubbed anew on the drawn skin), groove
ratio at three sites, D99, band. 48 sizes a powder as in the crate: panels of six Gauss nodes, the panel that the gap cuts with nodes
of its own. Only the groove percentile is coarser than the crate's: it is read off between two nodes.

    python benches/confidence_numpy.py [draws] [chunk]
"""

import sys
import time

import numpy as np
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

DRAWS = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
CHUNK = int(sys.argv[2]) if len(sys.argv) > 2 else 2_000
EDGES = np.linspace(-3, 6, 8)
NODE, WEIGHT = np.polynomial.legendre.leggauss(6)
NODE, WEIGHT = 0.5 * (NODE + 1), 0.5 * WEIGHT
PANEL_Z = (EDGES[:-1, None] + np.diff(EDGES)[:, None] * NODE).ravel()
PANEL_SHARE = (np.diff(EDGES)[:, None] * WEIGHT).ravel() * np.exp(-0.5 * PANEL_Z**2) / np.sqrt(2 * np.pi)
FLOOR_OF_PANEL = np.repeat(EDGES[:-1], 6)

# Median, gsd, then density, hardness and roundness: value, low, high, whether log-normal (else log-uniform).
POWDERS = [
    (4 / 6, 60, 1.6, (1.4, 1.3, 1.45, False), (0.12, 0.05, 0.25, False), (0.4, 0.3, 0.5, False)),
    (1 / 6, 180, 1.4, (1.35, 1.25, 1.45, False), (0.25, 0.15, 0.4, False), (0.3, 0.2, 0.4, False)),
    (1 / 6, 45, 1.7, (2.35, 2.2, 2.5, True), (5.0, 4.5, 6.5, True), (0.25, 0.15, 0.35, False)),
]
# Horny layer, skin modulus, pressure, dose, gap.
SITES = [
    [(14, 10, 17, True), (0.2, 0.05, 1, False), (3, 1.5, 6, False), (40, 20, 80, False), (30, 15, 50, False)],
    [(20, 16, 25, True), (0.2, 0.05, 1, False), (5, 2.5, 10, False), (40, 20, 80, False), (40, 20, 60, False)],
    [(150, 100, 250, True), (0.6, 0.2, 2, False), (10, 5, 20, False), (60, 30, 120, False), (60, 30, 90, False)],
]
SKIN = [(0.2, 0.05, 0.5, False), (0.48, 0.45, 0.5, False), (10, 5, 40, False), (0.5, 0.1, 2, False)]
BANDS = [(0, 0.25, 60, 300), (0, 0.6, 180, 700), (1, 0.8, 450, 1500), (2, 0.5, 900, 2500)]
MEDIAN_SD, OUTER_SD = np.log(1.08), np.log(1.12)


def spread(u, value, low, high, log_normal):
    """Two-piece log-normal (5 and 95 % at the ends) or log-uniform, the value as median."""
    t, scale = (ndtri(u), 1 / 1.6448536) if log_normal else (2 * u - 1, 1.0)
    return value * np.exp(scale * np.where(t < 0, t * np.log(value / low), t * np.log(high / value)))


def at_gap(gap, powders):
    """Sizes, their inverses and volume shares above the gap, one row a draw."""
    result = []
    for ln_median, sigma, *_ in powders:
        z_gap = (np.log(gap) - ln_median) / sigma
        upper = np.searchsorted(EDGES, z_gap)
        cut = (upper > 0) & (upper < len(EDGES))
        width = np.where(cut, sigma * (EDGES[np.minimum(upper, len(EDGES) - 1)] - z_gap), 0.0)
        above = width[:, None] * NODE * NODE
        z = z_gap[:, None] + above / sigma[:, None]
        share = 2 * (width / sigma)[:, None] * NODE * WEIGHT * np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
        whole = np.exp(ln_median[:, None] + sigma[:, None] * PANEL_Z)
        size = np.concatenate([gap[:, None] * np.exp(above), whole], 1)
        share = np.concatenate([share, PANEL_SHARE * (FLOOR_OF_PANEL >= z_gap[:, None])], 1)
        result.append((size, 1 / size, share))
    return result


def rub(powders, layers, site, skin, severity=True, depth=True):
    """Depth-weighted removal S and 95 % groove depth at a site."""
    _, modulus, pressure, dose, gap = site
    finger, nu, horn, half = skin
    plane, pad = modulus / (1 - nu * nu), finger / (1 - nu * nu)
    stiffness = 4 / 3 * plane * (1 + (plane / pad) ** (2 / 3)) ** -1.5 / np.sqrt(2)
    counts = [layer * dose * 6 / np.pi for layer in layers]

    def carried(grains, gap, pick=slice(None)):
        total, slope = 0.0, 0.0
        for (_, inverse, share), count in zip(grains, counts):
            q = np.maximum(1 - gap[:, None] * inverse, 0)
            root, weight = np.sqrt(q), share * inverse
            scale = (count * stiffness)[pick]
            total = total + scale * (weight * q * root).sum(1)
            slope = slope - 1.5 * scale * (weight * root * inverse).sum(1)
        return total, slope

    pressure = pressure * 1e-3
    grains = at_gap(gap, powders)
    load, slope = carried(grains, gap)
    pick = np.flatnonzero(load > pressure)
    if len(pick):
        some = [[v[pick] for v in p] for p in powders]
        h, goal, value, rate = gap[pick], pressure[pick] ** (2 / 3), load[pick], slope[pick]
        for _ in range(8):
            root = np.cbrt(value)
            step = (goal - root * root) / (2 / 3 * rate / root)
            h = h + step
            part = at_gap(h, some)
            value, rate = carried(part, h, pick)
            if np.max(np.abs(step) / h) < 1e-5:
                break
        gap = gap.copy()
        gap[pick] = h
        for all_grains, of_some in zip(grains, part):
            for whole, piece in zip(all_grains, of_some):
                whole[pick] = piece
    total, depths, loads = 0.0, [], []
    for (size, inverse, share), count, (_, _, _, hardness, roundness) in zip(grains, counts, powders):
        q = np.maximum(1 - gap[:, None] * inverse, 0)
        force = q * np.sqrt(q)
        u2 = (8 * stiffness / (np.pi * horn * roundness**2))[:, None] * force
        sphere, cone = np.minimum(u2, 0.5), np.maximum(u2, 0.5)
        relative = sphere / (1 + np.sqrt(1 - sphere)) + (np.sqrt(cone) - np.sqrt(0.5))
        if severity:
            u = np.sqrt(sphere)
            section = np.arcsin(u) - u * np.sqrt(1 - sphere) + (u2 - sphere)
            scale = count * hardness / (hardness + half) * (0.25 * roundness**2) ** 2
            total = total + scale * (share * size * section * relative * relative).sum(1)
        if depth:
            depths.append(0.5 * roundness[:, None] * size * relative)
            loads.append((count * stiffness)[:, None] * share * inverse * force)
    if not depth:
        return total, None
    deep, load = np.concatenate(depths, 1), np.concatenate(loads, 1)
    order = np.argsort(deep, 1)
    deep, load = np.take_along_axis(deep, order, 1), np.cumsum(np.take_along_axis(load, order, 1), 1)
    wanted = 0.95 * load[:, -1]
    i = np.clip((load < wanted[:, None]).sum(1), 1, load.shape[1] - 1)
    rows = np.arange(len(i))
    lo, hi = load[rows, i - 1], load[rows, i]
    part = np.divide(wanted - lo, hi - lo, out=np.zeros_like(lo), where=hi > lo)
    return total, deep[rows, i - 1] + part * (deep[rows, i] - deep[rows, i - 1])


def d99(powders, volumes):
    ends = np.array([m + 2.3263479 * s for m, s, *_ in powders])
    x, lo, hi = ends.max(0), ends.min(0), ends.max(0)
    for _ in range(6):
        value, slope = -0.99 * sum(volumes), 0.0
        for (m, s, *_), v in zip(powders, volumes):
            z = (x - m) / s
            value, slope = value + v * ndtr(z), slope + v * np.exp(-0.5 * z * z) / (np.sqrt(2 * np.pi) * s)
        x = np.clip(x - value / slope, lo, hi)
    return np.exp(x)


def chunk(u):
    column = iter(u.T)
    powders = []
    for _, d50, gsd, *properties in POWDERS:
        sigma = np.log(gsd)
        stretch = np.sqrt(OUTER_SD**2 - MEDIAN_SD**2) / (1.2815516 * sigma)
        median = np.log(d50) + MEDIAN_SD * ndtri(next(column))
        powders.append([median, sigma * np.exp(stretch * ndtri(next(column)))] + [spread(next(column), *p) for p in properties])
    skin = [spread(next(column), *row) for row in SKIN]
    sites = [[spread(next(column), *row) for row in site] for site in SITES]
    volumes = [0.05 * w / p[2] for (w, *_), p in zip(POWDERS, powders)]
    one = np.ones(len(u))
    reference = [[np.log(100) * one, np.log(1.5) * one, 2.3 * one, 5.0 * one, 0.25 * one]]
    base, _ = rub(reference, [0.05 / 2.3 * one], sites[0], skin, depth=False)
    ratios = []
    for i, site in enumerate(sites):
        severity, depth = rub(powders, volumes, site, skin, severity=i == 0)
        ratios.append(depth / site[0])
        if i == 0:
            index = 100 * np.sqrt(severity / base)
    top = d99(powders, volumes)
    met = [(ratios[s] <= ratio) & (index <= limit) & (top <= size) for s, ratio, limit, size in BANDS]
    return index, ratios, np.argmax(np.array(met + [np.ones(len(u), bool)]), 0)


def main():
    times = []
    for _ in range(3):
        start, cpu = time.perf_counter(), time.process_time()
        sobol = qmc.Sobol(5 * len(POWDERS) + 4 + 15, seed=1)
        parts = [chunk(sobol.random(min(CHUNK, DRAWS - i))) for i in range(0, DRAWS, CHUNK)]
        times.append((time.perf_counter() - start, time.process_time() - cpu))
    index, ratio = np.concatenate([p[0] for p in parts]), np.concatenate([p[1][0] for p in parts])
    rank = np.concatenate([p[2] for p in parts])
    best = min(times)
    print(f"{DRAWS} draws in chunks of {CHUNK}: {best[0]:.2f} s, {best[1]:.2f} s of the processor")
    print("index 5-50-95 %", np.round(np.quantile(index, [0.05, 0.5, 0.95]), 2))
    print("face ratio 5-50-95 %", np.round(np.quantile(ratio, [0.05, 0.5, 0.95]), 4))
    print("bands %", np.round(100 * np.bincount(rank, minlength=5) / DRAWS, 2))


if __name__ == "__main__":
    main()
