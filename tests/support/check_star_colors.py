"""Check the colours of black bodies and the temperatures of star colours.

What
    `src/engine/balance/golden.txt` holds what the tests of `engine/balance`
    expect: linear sRGB colours of black bodies (largest component 1), and
    temperatures from B-V (Ballesteros 2012, EPL 97, 34008) and BP-RP
    (Mucciarelli, Bellazzini & Massari 2021, A&A 653, A90). This script computes
    them by other means: the colours with the observer, spectra and matrices of
    the colour-science package; the temperatures with numpy, B-V's inverse by
    root finding. It compares, or writes the file again.

Needs
    pip install numpy scipy colour-science

Run
    python tests/support/check_star_colors.py            # check; exit 1 on a difference
    python tests/support/check_star_colors.py --write    # write the file again
"""

import argparse
import sys
import warnings
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

GOLDEN = Path(__file__).resolve().parents[2] / "src/engine/balance/golden.txt"
ALLOWED = 2e-9
KELVIN = [2000, 2500, 3000, 3500, 4000, 5000, 5772, 6500, 7500, 10000, 15000, 20000, 40000]
B_V = [-0.3, -0.2, 0.0, 0.3, 0.653, 1.0, 1.4, 2.0]
BP_RP = [0.4, 0.6, 0.818, 1.0, 1.25, 1.5]
INVERT = [3500, 4000, 5000, 5772, 7500, 10000, 15000]


def black_body(kelvin):
    """Linear sRGB, largest component 1: spectrum, observer, matrix."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    nm = np.arange(380, 781)
    functions = np.array([observer[float(n)] for n in nm])
    radiance = colour.colorimetry.planck_law(nm * 1e-9, kelvin)
    xyz = functions.T @ np.asarray(radiance)
    space = colour.RGB_COLOURSPACES["sRGB"]
    # Not the rounded matrix of the standard: derived from its chromaticities.
    white = np.array([0.3127, 0.3290])
    to_xyz = colour.models.normalised_primary_matrix(space.primaries, white)
    rgb = np.linalg.inv(to_xyz) @ xyz
    return rgb / rgb.max()


def from_b_v(b_v):
    return 4600.0 * (1.0 / (0.92 * b_v + 1.7) + 1.0 / (0.92 * b_v + 0.62))


def from_bp_rp(color, terms):
    b0, b1, b2 = terms
    return 5040.0 / np.polyval([b2, b1, b0], color)


def lines():
    yield "# Written by tests/support/check_star_colors.py; not by Linehue."
    for kelvin in KELVIN:
        yield "black_body %d %.10f %.10f %.10f" % (kelvin, *black_body(kelvin))
    for b_v in B_V:
        yield "b_v %.3f %.10f" % (b_v, from_b_v(b_v))
    for color in BP_RP:
        dwarf = from_bp_rp(color, (0.4929, 0.5092, -0.0353))
        giant = from_bp_rp(color, (0.5323, 0.4775, -0.0344))
        yield "bp_rp %.3f %.10f %.10f" % (color, dwarf, giant)
    for kelvin in INVERT:
        b_v = brentq(lambda x: from_b_v(x) - kelvin, -0.6, 5.0, xtol=1e-14)
        yield "inverse %d %.10f" % (kelvin, b_v)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--write", action="store_true", help="write the file before checking it")
    arguments = parser.parse_args()
    fresh = list(lines())
    if arguments.write:
        GOLDEN.write_text("\n".join(fresh) + "\n", encoding="ascii")
    kept = GOLDEN.read_text(encoding="ascii").splitlines()
    wrong = [] if len(kept) == len(fresh) else ["another number of lines"]
    for a, b in zip(kept[1:], fresh[1:]):
        (name, *ours), (other, *theirs) = a.split(), b.split()
        apart = np.abs(np.array(ours, float) - np.array(theirs, float))
        if name != other or (apart > ALLOWED * np.maximum(1, np.abs(np.array(ours, float)))).any():
            wrong.append(f"`{a}` is not `{b}`")
    print("\n".join(wrong) if wrong else f"{GOLDEN.name}: {len(fresh) - 1} lines agree")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
