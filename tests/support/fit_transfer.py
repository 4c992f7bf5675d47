"""The polynomials of src/engine/color/transfer.rs, to be made again.

What
    For tones of 0..1, sRGB's decoding is x^2.4 with x = (y + 0.055) / 1.055. It
    is taken as x^2 * P(s), s = sqrt(x), where P stands for s^0.8. P is the
    polynomial whose largest error is smallest, counted in code values: an error
    in dark light weighs more, as encoding is steeper there.

    sRGB's encoding of light of 0..1 is taken as Q(u), u = sqrt(sqrt(x)), where
    Q stands for 1.055 u^(5/3) - 0.055.

    Both by Lawson's reweighted least squares in a Chebyshev basis. Printed are
    the coefficients, lowest first, and the largest error before rounding to
    single precision, in code values of 0..1.

Needs
    pip install numpy

Run
    python fit_transfer.py
"""

import numpy as np
from numpy.polynomial import Chebyshev, Polynomial, chebyshev

NODES = 6000
ROUNDS = 400


def smallest_largest_error(function, weight, low, high, degree):
    """The polynomial, and its largest weighted error at the nodes."""
    at = np.cos(np.pi * (np.arange(NODES) + 0.5) / NODES)
    x = (low + high) / 2 + (high - low) / 2 * at
    wanted, scale = function(x), weight(x)
    basis = chebyshev.chebvander(at, degree)
    lawson = np.ones_like(x)
    best, least = None, np.inf
    for _ in range(ROUNDS):
        row = np.sqrt(lawson) * scale
        terms = np.linalg.lstsq(basis * row[:, None], wanted * row, rcond=None)[0]
        error = np.abs((basis @ terms - wanted) * scale)
        if error.max() < least:
            best, least = terms, error.max()
        lawson *= error
        lawson /= lawson.sum()
    return Chebyshev(best, domain=[low, high]).convert(kind=Polynomial).coef, least


def show(name, terms, error):
    print(f"{name}: largest error {error:.1e}")
    for term in terms:
        print(f"    {term:.9e},")


def main():
    darkest = np.sqrt((0.04045 + 0.055) / 1.055)
    slope = lambda s: 1.055 / 2.4 * (s**4.8) ** (1 / 2.4 - 1)
    show("DECODE", *smallest_largest_error(lambda s: s**0.8, lambda s: s**4 * slope(s), darkest, 1.0, 7))
    darkest = 0.0031308**0.25
    show("ENCODE", *smallest_largest_error(lambda u: 1.055 * u ** (5 / 3) - 0.055, np.ones_like, darkest, 1.0, 8))


if __name__ == "__main__":
    main()
