"""Independent reference implementation of the rub model (NumPy + SciPy).

Run:  python3 model_reference.py      writes model_cases.json beside itself.

Units used inside: sizes um, stresses MPa = uN/um2, forces uN.
A dose of 1 g/m2 of density 1 g/cm3 is a layer of 1 um, so n(x) comes out in grains per um2 per um.

Quadrature.  With u = ln x the integrands behave like (u - ln h)^(3/2), ^(9/4), ^(21/4) just above the
gap h.  The substitution u = ln h + s^4 makes every one of them analytic in s, so the integrals are taken
in s with composite 32-point Gauss-Legendre.  Panels break at each knot of a measured table and at the
size where the groove goes from the sphere to the cone (known in closed form).  At least 400 panels
(12800 sizes) per powder; everything is computed again with twice the panels and the change is reported.
"""
import json
import math
import os
import sys

import numpy as np
import scipy
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq
from scipy.special import gamma, ndtr, ndtri

GL_X, GL_W = np.polynomial.legendre.leggauss(32)
BASE_PANELS = 400

CONST = dict(pad_modulus_mpa=0.2, poisson=0.48, hs_mpa=10.0, edge_ratio=5.0, f_ab=0.1)
SITES = {
    "face": dict(t_um=14.0, e_mpa=0.2, p_kpa=3.0, dose_g_m2=40.0, h0_um=30.0),
    "body": dict(t_um=20.0, e_mpa=0.2, p_kpa=5.0, dose_g_m2=40.0, h0_um=40.0),
    "foot": dict(t_um=150.0, e_mpa=0.6, p_kpa=10.0, dose_g_m2=60.0, h0_um=60.0),
}
SQ2 = math.sqrt(2.0)
QS = (5, 10, 16, 25, 50, 75, 84, 90, 95, 99)


# ---------------------------------------------------------------- size laws
class LogNormal:
    def __init__(self, d50, gsd):
        self.mu, self.s = math.log(d50), math.log(gsd)
        self.ulo = self.mu - 14 * self.s
        self.uhi = self.mu + 14 * self.s + 2 * self.s ** 2
        self.knots = []

    def cdf(self, u):
        return ndtr((u - self.mu) / self.s)

    def dens(self, u):
        z = (u - self.mu) / self.s
        return np.exp(-0.5 * z * z) / (self.s * math.sqrt(2 * math.pi))

    def moment(self, k, panels=None):
        return math.exp(k * self.mu + 0.5 * (k * self.s) ** 2)

    def quantile(self, q):
        return math.exp(self.mu + self.s * ndtri(q))


class RosinRammler:
    def __init__(self, size, n):
        self.l, self.size, self.n = math.log(size), size, n
        self.ulo = self.l - 80 / n
        self.uhi = self.l + math.log(740.0) / n
        self.knots = []

    def cdf(self, u):
        return -np.expm1(-np.exp(self.n * (u - self.l)))

    def dens(self, u):
        y = self.n * (u - self.l)
        return self.n * np.exp(y - np.exp(y))

    def moment(self, k, panels=None):
        if k <= -self.n:
            return math.inf
        return self.size ** k * gamma(1 + k / self.n)

    def quantile(self, q):
        return self.size * (-math.log1p(-q)) ** (1 / self.n)


class Ggs:
    def __init__(self, k, m):
        self.l, self.k, self.m = math.log(k), k, m
        self.ulo = self.l - 80 / m
        self.uhi = self.l
        self.knots = []

    def cdf(self, u):
        return np.exp(self.m * np.minimum(u - self.l, 0.0))

    def dens(self, u):
        return np.where(u <= self.l, self.m * np.exp(self.m * (u - self.l)), 0.0)

    def moment(self, k, panels=None):
        if k <= -self.m:
            return math.inf
        return self.k ** k * self.m / (self.m + k)

    def quantile(self, q):
        return self.k * q ** (1 / self.m)


class Table:
    def __init__(self, knots, q3):
        x, q = np.asarray(knots, float), np.asarray(q3, float)
        assert q[0] == 0 and q[-1] == 1 and np.all(np.diff(x) > 0) and np.all(np.diff(q) >= 0)
        self.u = np.log(x)
        self.p = PchipInterpolator(self.u, q)
        self.d = self.p.derivative()
        self.ulo, self.uhi = self.u[0], self.u[-1]
        self.knots = list(self.u)

    def cdf(self, u):
        v = np.clip(self.p(np.clip(u, self.ulo, self.uhi)), 0, 1)
        return v

    def dens(self, u):
        return np.where((u >= self.ulo) & (u <= self.uhi), self.d(u), 0.0)

    def moment(self, k, panels=4):
        tot = 0.0
        for a, b in zip(self.u[:-1], self.u[1:]):
            e = np.linspace(a, b, panels + 1)
            h = 0.5 * np.diff(e)[:, None]
            v = 0.5 * (e[1:] + e[:-1])[:, None] + h * GL_X
            tot += float(np.sum(h * GL_W * np.exp(k * v) * self.d(v)))
        return tot


def make_size(d):
    if "gsd" in d:
        return LogNormal(d["d50_um"], d["gsd"])
    if "rr_size_um" in d:
        return RosinRammler(d["rr_size_um"], d["rr_exponent"])
    if "ggs_size_um" in d:
        return Ggs(d["ggs_size_um"], d["ggs_exponent"])
    return Table(d["knots_um"], d["q3"])


# ---------------------------------------------------------------- one rub
def theta_minus_sin(y):
    """y - sin y without cancellation."""
    out = y - np.sin(y)
    small = y < 0.7
    ys = y[small]
    term = ys ** 3 / 6
    tot = term.copy()
    for k in range(2, 12):
        term = -term * ys ** 2 / ((2 * k) * (2 * k + 1))
        tot += term
    out[small] = tot
    return out


class Rub:
    def __init__(self, powders, load_pct, site, level=1):
        self.c = CONST
        self.site, self.level = site, level
        nu2 = 1 - CONST["poisson"] ** 2
        self.es = site["e_mpa"] / nu2
        ep = CONST["pad_modulus_mpa"] / nu2
        self.kappa = 1 / (1 + (self.es / ep) ** (2 / 3))
        self.p = site["p_kpa"] * 1e-3
        parts = sum(w["parts"] for w in powders)
        self.pw = []
        for w in powders:
            self.pw.append(dict(
                size=w["_size"], rw=w["roundness"],
                layer=site["dose_g_m2"] * load_pct / 100 * (w["parts"] / parts) / w["density_g_cm3"],
                eta=w["hardness_gpa"] / (w["hardness_gpa"] + CONST["edge_ratio"] * CONST["hs_mpa"] * 1e-3)))
        self.nodes = 0

    def force(self, x, d):
        return 4 / 3 * self.es * np.sqrt(x / 2) * (self.kappa * d) ** 1.5

    def groove(self, x, d, rw):
        r = rw * x / 2
        a = np.sqrt(2 * self.force(x, d) / (math.pi * CONST["hs_mpa"]))
        a0 = r / SQ2
        t = np.minimum(a / r, 1 / SQ2)
        th = np.arcsin(t)
        g = r * t * t / (1 + np.sqrt(1 - t * t))
        sec = r * r * 0.5 * theta_minus_sin(2 * th)
        extra = np.maximum(a - a0, 0.0)
        sec = sec + (a0 + np.maximum(a, a0)) * extra
        return g + extra, sec

    def s_star(self, rw, h):
        """s where a = a0: (a/r)^2 = K (1 - h/x)^(3/2) = 1/2."""
        k = 2 * (4 / 3) * self.es * self.kappa ** 1.5 / SQ2 / (math.pi * CONST["hs_mpa"] * rw ** 2 / 4)
        y = (0.5 / k) ** (2 / 3)
        if y >= 1:
            return None
        return (-math.log1p(-y)) ** 0.25

    def nodes_for(self, w, h, s_top=None):
        z = w["size"]
        uh = math.log(h)
        if z.uhi <= uh:
            return None
        lo = max(z.ulo - uh, 0.0) ** 0.25
        hi = (z.uhi - uh) ** 0.25
        if s_top is not None:
            hi = min(hi, s_top)
        if hi <= lo:
            return None
        br = [lo, hi]
        st = self.s_star(w["rw"], h)
        if st is not None:
            br.append(st)
        br += [(k - uh) ** 0.25 for k in z.knots if k > uh]
        br = np.unique([b for b in br if lo <= b <= hi])
        nseg = len(br) - 1
        per = max(4, math.ceil(BASE_PANELS / nseg)) * self.level
        f = np.linspace(0, 1, per + 1)
        e0 = (br[:-1, None] + np.diff(br)[:, None] * f[None, :-1]).ravel()
        e1 = (br[:-1, None] + np.diff(br)[:, None] * f[None, 1:]).ravel()
        hw = 0.5 * (e1 - e0)[:, None]
        s = (0.5 * (e0 + e1)[:, None] + hw * GL_X).ravel()
        wt = (hw * GL_W).ravel() * 4 * s ** 3
        s4 = s ** 4
        x = h * np.exp(s4)
        d = h * np.expm1(s4)
        n = w["layer"] * z.dens(uh + s4) / (math.pi * x ** 3 / 6) * wt      # grains per um2 in each node
        if s_top is None:
            self.nodes = max(self.nodes, len(s))
            self.min_nodes = min(getattr(self, "min_nodes", 10 ** 9), len(s))
        return x, d, n

    def load(self, w, h, s_top=None):
        r = self.nodes_for(w, h, s_top)
        if r is None:
            return 0.0
        x, d, n = r
        return float(np.sum(n * self.force(x, d)))

    def total_load(self, h):
        return sum(self.load(w, h) for w in self.pw)

    def solve(self):
        h0 = self.site["h0_um"]
        l0 = self.total_load(h0)
        if l0 <= self.p:
            return h0, l0, "shared"
        top = math.exp(max(w["size"].uhi for w in self.pw))
        hi = h0
        while True:
            hi = min(hi * 1.5, top)
            if self.total_load(hi) < self.p:
                break
        h = brentq(lambda h: math.log(max(self.total_load(h), 1e-300) / self.p), h0, hi, xtol=1e-12, rtol=1e-15)
        return h, self.p, "grain-borne"

    def integrals(self, h):
        s, rem = [], 0.0
        for w in self.pw:
            r = self.nodes_for(w, h)
            if r is None:
                s.append(0.0)
                continue
            x, d, n = r
            g, a = self.groove(x, d, w["rw"])
            s.append(float(np.sum(n * w["eta"] * a * g * g)))
            rem += float(np.sum(n * w["eta"] * a))
        return s, rem * CONST["f_ab"] * 1e6

    def groove_at_s(self, w, h, s):
        x = h * np.exp(np.array([s ** 4]))
        d = h * np.expm1(np.array([s ** 4]))
        return float(self.groove(x, d, w["rw"])[0][0])

    def groove_percentile(self, h, q):
        tot = self.total_load(h)
        if tot <= 0:
            return 0.0
        uh = math.log(h)
        act = [w for w in self.pw if w["size"].uhi > uh]
        smax = [(w["size"].uhi - uh) ** 0.25 for w in act]
        gmax = [self.groove_at_s(w, h, s) for w, s in zip(act, smax)]

        def below(lg):
            g = math.exp(lg)
            acc = 0.0
            for w, sm, gm in zip(act, smax, gmax):
                if g >= gm:
                    acc += self.load(w, h)
                else:
                    s = brentq(lambda s: self.groove_at_s(w, h, s) - g, 0.0, sm, xtol=1e-15, rtol=1e-15)
                    acc += self.load(w, h, s)
            return acc / tot - q

        return math.exp(brentq(below, math.log(max(gmax)) - 40, math.log(max(gmax)), xtol=1e-13, rtol=1e-15))


def s_ref(level=1):
    ref = [dict(parts=1, density_g_cm3=2.3, hardness_gpa=5.0, roundness=0.25, _size=LogNormal(100.0, 1.5))]
    r = Rub(ref, 5.0, SITES["face"], level)
    h, _, _ = r.solve()
    return sum(r.integrals(h)[0])


def percentiles(sizes, shares):
    lo = min(z.ulo for z in sizes)
    hi = max(z.uhi for z in sizes)
    f = lambda u, q: sum(s * float(z.cdf(u)) for z, s in zip(sizes, shares)) - q
    return {"d%d_um" % q: math.exp(brentq(f, lo, hi, args=(q / 100,), xtol=1e-14, rtol=1e-15)) for q in QS}


def evaluate(load_pct, powders, level=1, stat=None):
    pw = [dict(p, _size=make_size(p["size"])) for p in powders]
    out = {}
    sites = []
    for name, site in SITES.items():
        r = Rub(pw, load_pct, site, level)
        h, l, kind = r.solve()
        if name == "face":
            s, rem = r.integrals(h)
            tot = sum(s)
            out["index"] = 100 * math.sqrt(tot / s_ref(level))
            out["removal_um_per_m"] = rem
            out["index_share_pct"] = [100 * v / tot if tot > 0 else 0.0 for v in s]
        g50, g95 = r.groove_percentile(h, 0.5), r.groove_percentile(h, 0.95)
        sites.append(dict(site=name, gap_um=h, carried_pct=100 * l / r.p, groove_p50_um=g50, groove_p95_um=g95,
                          groove_ratio=g95 / site["t_um"], rub=kind))
        if stat is not None and r.nodes:
            stat["min"] = min(stat.get("min", 10 ** 9), r.min_nodes)
            stat["max"] = max(stat.get("max", 0), r.nodes)
    out["sites"] = sites
    w = [p["parts"] for p in pw]
    w = [v / sum(w) for v in w]
    inv = sum(a / p["density_g_cm3"] for a, p in zip(w, pw))
    phi = [a / p["density_g_cm3"] / inv for a, p in zip(w, pw)]
    z = [p["_size"] for p in pw]
    out["by_volume"] = percentiles(z, phi)
    out["by_mass"] = percentiles(z, w)
    m1 = sum(f * s.moment(1, 4 * level) for f, s in zip(phi, z))
    m_1 = sum(f * s.moment(-1, 4 * level) for f, s in zip(phi, z))
    out["mean_4_3_um"] = m1
    out["mean_3_2_um"] = None if math.isinf(m_1) else 1 / m_1
    out["density_g_cm3"] = 1 / inv
    return out


# ---------------------------------------------------------------- cases
def pw(name, parts, density, hardness, roundness, **size):
    return dict(name=name, parts=parts, density_g_cm3=density, hardness_gpa=hardness, roundness=roundness, size=size)


def ln(d50, gsd):
    return dict(d50_um=float(d50), gsd=float(gsd))


def cases():
    c = []

    def add(name, load, *powders):
        c.append(dict(name=name, load_pct=float(load), powders=list(powders)))

    add("reference scrub", 5, pw("reference", 1, 2.3, 5.0, 0.25, **ln(100, 1.5)))
    add("log-normal 20 um, wide", 5, pw("fine", 1, 2.35, 5.0, 0.25, **ln(20, 1.8)))
    add("log-normal 45 um", 5, pw("pumice", 1, 2.35, 5.0, 0.25, **ln(45, 1.6)))
    add("log-normal 45 um, 30 % load, just short of grain-borne", 30, pw("pumice", 1, 2.35, 5.0, 0.25, **ln(45, 1.6)))
    add("log-normal 45 um, 45 % load, grain-borne at the face", 45, pw("pumice", 1, 2.35, 5.0, 0.25, **ln(45, 1.6)))
    add("log-normal 800 um, very sharp", 3, pw("grit", 1, 1.4, 5.0, 0.12, **ln(800, 1.5)))
    add("log-normal 250 um, near-monosize", 6, pw("alumina", 1, 3.95, 20.0, 0.17, **ln(250, 1.1)))
    add("log-normal 120 um, gsd 2.8, low load", 0.5, pw("wide", 1, 2.65, 12.0, 0.4, **ln(120, 2.8)))
    add("sugar-like 400 um, 60 % load, grain-borne", 60, pw("crystals", 1, 1.59, 0.6, 0.35, **ln(400, 1.6)))
    add("blunt wax 400 um", 5, pw("wax", 1, 0.93, 0.01, 0.9, **ln(400, 1.3)))
    add("blunt 90 um, 15 % load, grain-borne at the face", 15, pw("beads", 1, 0.97, 0.03, 0.9, **ln(90, 1.4)))
    add("two powders, wax and alumina, unlike densities", 6,
        pw("wax", 3, 0.93, 0.01, 0.9, **ln(300, 1.35)), pw("alumina", 1, 3.95, 20.0, 0.12, **ln(70, 1.5)))
    add("two powders, fine pumice with a quarter nut shell", 5,
        pw("pumice", 75, 2.35, 5.0, 0.25, **ln(45, 1.6)), pw("shell", 25, 1.3, 0.25, 0.18, **ln(200, 1.5)))
    add("three powders, unlike densities and hardness, grain-borne", 40,
        pw("wax", 2, 0.93, 0.01, 0.9, **ln(350, 1.3)), pw("alumina", 1, 3.95, 20.0, 0.17, **ln(60, 1.6)),
        pw("clay", 5, 2.6, 0.14, 0.45, **ln(35, 2.0)))
    add("Rosin-Rammler, exponent 1.5", 5, pw("ground", 1, 2.65, 12.0, 0.4, rr_size_um=150.0, rr_exponent=1.5))
    add("Rosin-Rammler, exponent 0.8, long tails", 2, pw("ground", 1, 1.35, 0.25, 0.2, rr_size_um=90.0, rr_exponent=0.8))
    add("Gates-Gaudin-Schuhmann, exponent 1.3", 5, pw("crushed", 1, 2.71, 1.5, 0.35, ggs_size_um=300.0, ggs_exponent=1.3))
    add("Gates-Gaudin-Schuhmann, exponent 0.7, with Rosin-Rammler", 8,
        pw("crushed", 1, 2.35, 5.0, 0.25, ggs_size_um=180.0, ggs_exponent=0.7),
        pw("cob", 1, 1.2, 0.2, 0.35, rr_size_um=260.0, rr_exponent=3.0))
    add("seven-sieve table", 5, pw("sieved", 1, 1.3, 0.25, 0.18,
        knots_um=[22.5, 45.0, 75.0, 106.0, 150.0, 212.0, 300.0, 425.0],
        q3=[0.0, 0.013, 0.062, 0.171, 0.452, 0.793, 0.964, 1.0]))
    x = np.round(np.geomspace(5.0, 900.0, 101), 4)
    q = ndtr(np.log(x / 85.0) / math.log(1.9)) * 0.7 + ndtr(np.log(x / 260.0) / math.log(1.3)) * 0.3
    q = np.round((q - q[0]) / (q[-1] - q[0]), 9)
    add("laser table, 100 narrow classes, two modes", 5, pw("laser", 1, 2.35, 5.0, 0.25,
        knots_um=[float(v) for v in x], q3=[float(v) for v in q]))
    add("table with an empty class in the middle", 5, pw("gap-graded", 1, 2.65, 12.0, 0.4,
        knots_um=[20.0, 38.0, 63.0, 90.0, 125.0, 180.0, 250.0, 355.0],
        q3=[0.0, 0.11, 0.34, 0.47, 0.47, 0.66, 0.93, 1.0]))
    add("table with 97 % in one very narrow class", 5, pw("screened", 1, 1.35, 0.25, 0.2,
        knots_um=[150.0, 180.0, 200.0, 212.0, 250.0], q3=[0.0, 0.004, 0.012, 0.982, 1.0]))
    add("table with nearly all in one very wide class", 5, pw("unsieved", 1, 1.35, 0.25, 0.2,
        knots_um=[10.0, 20.0, 800.0, 1000.0], q3=[0.0, 0.005, 0.995, 1.0]))
    add("knot just above the gap of the face (30.01 um)", 5, pw("cut", 1, 2.35, 5.0, 0.25,
        knots_um=[12.0, 20.0, 30.01, 45.0, 63.0, 90.0], q3=[0.0, 0.08, 0.31, 0.66, 0.9, 1.0]))
    add("knot just below the gap of the face (29.99 um)", 5, pw("cut", 1, 2.35, 5.0, 0.25,
        knots_um=[12.0, 20.0, 29.99, 45.0, 63.0, 90.0], q3=[0.0, 0.08, 0.31, 0.66, 0.9, 1.0]))
    add("top knot hardly above the gap of the face (30.5 um)", 10, pw("dust", 1, 2.6, 5.0, 0.3,
        knots_um=[5.0, 10.0, 20.0, 30.5], q3=[0.0, 0.3, 0.7, 1.0]))
    add("wholly finer than every gap", 5, pw("flour", 1, 2.6, 0.4, 0.45,
        knots_um=[2.0, 5.0, 10.0, 20.0, 28.0], q3=[0.0, 0.2, 0.55, 0.9, 1.0]))
    add("two-point table, sharp", 2, pw("one class", 1, 2.65, 12.0, 0.12, knots_um=[125.0, 250.0], q3=[0.0, 1.0]))
    add("table grain-borne, blended with blunt log-normal", 35,
        pw("salt", 4, 2.165, 0.2, 0.3, knots_um=[100.0, 200.0, 315.0, 500.0, 800.0],
           q3=[0.0, 0.09, 0.46, 0.9, 1.0]),
        pw("wax", 1, 0.97, 0.03, 0.9, **ln(150, 1.2)))
    return c


def flat(v, path=""):
    if isinstance(v, dict):
        for k, w in v.items():
            yield from flat(w, path + "/" + k)
    elif isinstance(v, list):
        for i, w in enumerate(v):
            yield from flat(w, path + "/%d" % i)
    elif isinstance(v, (int, float)) and not isinstance(v, bool):
        yield path, float(v)


def main():
    stat, worst, out = {}, (0.0, ""), []
    for c in cases():
        e1 = evaluate(c["load_pct"], c["powders"], 1, stat)
        e2 = evaluate(c["load_pct"], c["powders"], 2)
        for (k, a), (_, b) in zip(flat(e1), flat(e2)):
            ch = abs(a - b) / max(abs(b), 1e-12)
            if ch > worst[0]:
                worst = (ch, c["name"] + k)
        out.append(dict(c, expect=e2))
        f = e2["sites"][0]
        print("%-62s AI %10.4f  rem %8.4f  %s" % (c["name"], e2["index"], e2["removal_um_per_m"],
              "  ".join("%s h %.2f %.3g%% r %.4f" % (s["rub"][0], s["gap_um"], s["carried_pct"], s["groove_ratio"]) for s in e2["sites"])))
    doc = dict(
        about="Reference cases of the rub model, made by model_reference.py; sizes in um, loads in percent by mass.",
        versions=dict(python=sys.version.split()[0], numpy=np.__version__, scipy=scipy.__version__),
        convergence=dict(largest_relative_change_on_doubling_the_panels=worst[0], where=worst[1],
                         sizes_per_powder_before_doubling=[stat["min"], stat["max"]]),
        constants=CONST, sites=SITES, cases=out)
    path = os.path.join(os.path.dirname(os.path.abspath(__file__)), "model_cases.json")
    with open(path, "w") as fh:
        json.dump(doc, fh, indent=1, ensure_ascii=True, allow_nan=False)
        fh.write("\n")
    print("largest relative change on doubling: %.3g at %s; sizes per powder %d..%d" % (worst[0], worst[1], stat["min"], stat["max"]))


if __name__ == "__main__":
    main()
