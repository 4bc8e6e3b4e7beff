#!/usr/bin/env python3
"""Charge balances of 300 random formulas by another program: bisection over pH within bisection over the ionic strength.

Constants are written here anew from handbooks (CRC; Martell and Smith; textbooks of analytical chemistry), not read from the crate's
tables. Run in this folder; it writes balance_reference.json, which tests/published_balance.rs holds the crate against.
"""
import json
import random

KW = 13.995
A = 0.509

# INCI name: molar mass, charge with all protons, pKa, sodium-like ions, other protolytes it brings (pKa, charge, count)
ACIDS = {
    "Lactic Acid": (90.08, [3.86]),
    "Glycolic Acid": (76.05, [3.83]),
    "Mandelic Acid": (152.15, [3.41]),
    "Citric Acid": (192.12, [3.13, 4.76, 6.40]),
    "Malic Acid": (134.09, [3.40, 5.20]),
    "Tartaric Acid": (150.09, [2.98, 4.34]),
    "Salicylic Acid": (138.12, [2.97]),
}
OTHERS = {
    "Sodium Lactate": (112.06, 0, [3.86], 1),
    "Sodium Citrate": (258.07, 0, [3.13, 4.76, 6.40], 3),
    "Sodium Benzoate": (144.10, 0, [4.204], 1),
    "Potassium Sorbate": (150.22, 0, [4.76], 1),
    "Sodium Dehydroacetate": (190.13, 0, [5.27], 1),
    "Disodium EDTA": (372.24, 0, [2.0, 2.67, 6.16, 10.26], 2),
    "Niacinamide": (122.12, 1, [3.35], 0),
    "Sodium PCA": (151.10, 0, [3.32], 1),
}
BASES = {
    "Sodium Hydroxide": (39.997, None, [], 1),
    "Potassium Hydroxide": (56.106, None, [], 1),
    "Arginine": (174.20, 2, [1.82, 8.99, 12.48], 0),
    "Triethanolamine": (149.19, 1, [7.76], 0),
    "Tromethamine": (121.14, 1, [8.07], 0),
    "Aminomethyl Propanol": (89.14, 1, [9.72], 0),
}

# What pure water at 25 C takes of the free acid, mol/kg: salicylic 0.22, benzoic 0.34, sorbic 0.16, dehydroacetic 0.069 g in 100 g (CRC and
# Merck, recalled).
TAKEN = {
    "Salicylic Acid": 2.2 / 138.12,
    "Sodium Benzoate": 0.0278,
    "Potassium Sorbate": 0.0143,
    "Sodium Dehydroacetate": 0.0041,
}


def undissociated(taken, pka):
    """Of what pure water takes the part that keeps its proton, by bisection: all = s + sqrt(K s)."""
    low, high = 0.0, taken
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle + (10.0 ** -pka * middle) ** 0.5 < taken:
            low = middle
        else:
            high = middle
    return low


def forms(charge, pkas, h, gamma):
    """Concentrations relative to the first form by mass action with activities, charge by charge."""
    out = [1.0]
    for i, pka in enumerate(pkas):
        z = charge - i
        # K = a_H g(z-1) c(z-1) / (g(z) c(z))
        out.append(out[-1] * 10 ** -pka * gamma ** (z * z) / (gamma ** ((z - 1) ** 2) * h))
    total = sum(out)
    return [f / total for f in out]


def charges(ph, gamma, water, protolytes, ions):
    h = 10.0 ** -ph
    total = ions + water * (h / gamma - 10.0 ** -KW / (h * gamma))
    squares = ions + water * (h / gamma + 10.0 ** -KW / (h * gamma))
    for charge, pkas, mol, most in protolytes:
        shares = forms(charge, pkas, h, gamma)
        # What the water does not take lies at the bottom without a charge.
        if most is not None and mol * shares[0] > most * water:
            mol = most * water / shares[0]
        for i, share in enumerate(shares):
            total += mol * share * (charge - i)
            squares += mol * share * (charge - i) ** 2
    return total, squares / (2.0 * water)


def ph_at(strength, water, protolytes, ions):
    strength = min(strength, 0.5)
    root = strength ** 0.5
    gamma = 10.0 ** (-A * (root / (1.0 + root) - 0.3 * strength))
    low, high = -2.0, 16.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if charges(middle, gamma, water, protolytes, ions)[0] > 0.0:
            low = middle
        else:
            high = middle
    return low, charges(low, gamma, water, protolytes, ions)[1]


def in_salt(water, protolytes, ions):
    low, high = 0.0, 60.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if ph_at(middle, water, protolytes, ions)[1] > middle:
            low = middle
        else:
            high = middle
    return ph_at(low, water, protolytes, ions)[0], low


def held(inci, pkas):
    return undissociated(TAKEN[inci], pkas[0]) if inci in TAKEN else None


def main():
    draw = random.Random(20261130)
    formulas = []
    while len(formulas) < 300:
        listed, protolytes, ions = [], [], 0.0
        for inci in draw.sample(sorted(ACIDS), draw.choice([1, 1, 2, 3])):
            mw, pkas = ACIDS[inci]
            pct = round(draw.uniform(0.2, 6.0), 3)
            listed.append([inci, pct])
            protolytes.append((0, pkas, 10 * pct / mw, held(inci, pkas)))
        for table, most, top in ((OTHERS, 3, 1.0), (BASES, 2, 3.0)):
            for inci in draw.sample(sorted(table), draw.randint(0, most)):
                mw, charge, pkas, sodium = table[inci]
                pct = round(draw.uniform(0.05, top), 3)
                listed.append([inci, pct])
                mol = 10 * pct / mw
                ions += sodium * mol
                if pkas:
                    protolytes.append((charge, pkas, mol, held(inci, pkas)))
        water = round(draw.uniform(40.0, 80.0), 2)
        ideal = ph_at(0.0, water / 100, protolytes, ions)[0]
        salty, strength = in_salt(water / 100, protolytes, ions)
        formulas.append({"water_pct": water, "listed": listed, "ideal": ideal, "davies": salty, "ionic_strength": strength})
    with open("balance_reference.json", "w", encoding="utf-8") as out:
        json.dump(formulas, out, indent=0)
        out.write("\n")


main()
