"""Check, or write again, the table of the CIE 1931 2-degree observer.

What
    `assets/cie1931-2deg-1nm.csv` holds the colour-matching functions of the
    CIE 1931 standard colorimetric observer (2 degrees), 380..780 nm in steps
    of 1 nm. This script compares every number in it with the table that the
    colour-science package carries. The package's own arithmetic leaves noise
    of about 1e-15 on its values, so the published digits (at most 12 decimals)
    are found by rounding, and the comparison allows 1e-12.

Needs
    pip install numpy colour-science

Run
    python tests/support/check_cie.py            # check; exit 1 on a difference
    python tests/support/check_cie.py --write    # write the table again
"""

import argparse
import sys
import warnings
from pathlib import Path

import numpy as np

TABLE = Path(__file__).resolve().parents[2] / "assets" / "cie1931-2deg-1nm.csv"
WAVELENGTHS = np.arange(380, 781)
ALLOWED = 1e-12
HEADER = """\
# CIE 1931 standard colorimetric observer, 2 degrees: colour-matching functions
# Source: CIE 018:2019 and CIE 15:2018, table of the CIE 1931 2-degree observer, 1 nm
# Columns: wavelength in nm, x-bar, y-bar, z-bar
"""


def published():
    """The table of colour-science as (401, 3) numbers, rounded to 12 decimals."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    functions = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    exact = np.array([functions[float(wavelength)] for wavelength in WAVELENGTHS])
    rounded = np.round(exact, 12)
    if np.abs(exact - rounded).max() > 1e-14:
        sys.exit("the package's table has more than 12 decimals: rounding would lose digits")
    return rounded


def digits(value):
    """Decimal digits of a value, without an exponent and without trailing zeros."""
    return np.format_float_positional(value, precision=12, trim="0")


def write(path):
    rows = (
        f"{wavelength},{','.join(digits(value) for value in row)}\n"
        for wavelength, row in zip(WAVELENGTHS, published(), strict=True)
    )
    path.write_text(HEADER + "".join(rows), encoding="ascii")


def check(path):
    """The list of things wrong with the table at `path`; empty if it is right."""
    table = np.loadtxt(path, delimiter=",", comments="#")
    if table.shape != (len(WAVELENGTHS), 4):
        return [f"{table.shape} numbers, expected {(len(WAVELENGTHS), 4)}"]
    wrong = []
    if not np.array_equal(table[:, 0], WAVELENGTHS):
        wrong.append("the wavelengths are not 380, 381 .. 780")
    difference = np.abs(table[:, 1:] - published())
    for row, column in np.argwhere(difference > ALLOWED):
        wrong.append(
            f"{WAVELENGTHS[row]} nm {'xyz'[column]}: off by {difference[row, column]:.3g}"
        )
    return wrong


def main():
    parser = argparse.ArgumentParser(description="Check the CIE 1931 table against colour-science.")
    parser.add_argument("--write", action="store_true", help="write the table before checking it")
    parser.add_argument("--table", type=Path, default=TABLE, help="the CSV file")
    arguments = parser.parse_args()
    if arguments.write:
        write(arguments.table)
    wrong = check(arguments.table)
    for line in wrong:
        print(line)
    if wrong:
        sys.exit(1)
    print(f"{arguments.table.name}: {len(WAVELENGTHS)} rows agree to {ALLOWED:g}")


if __name__ == "__main__":
    main()
