"""Colour arithmetic of the reference implementation, in double precision.

What
    The transfer functions, the matrices of the output spaces (derived here
    from their primaries), Oklab, the ways a recipe writes a colour, and the
    natural colour of an emission line. Arrays of colours have shape (..., 3).

    Sources: IEC 61966-2-1 (sRGB), SMPTE EG 432-1 (Display P3 primaries),
    ITU-R BT.2020-2, CSS Color 4 (Oklab matrices for a D65 XYZ; Oklab itself:
    Ottosson 2020), CIE 018:2019 (the 1931 2-degree observer).

Needs
    pip install numpy coloraide colour-science

Run
    Not a program: `reference.py` imports it.
"""

import functools
import math
import warnings

import numpy as np
from coloraide import Color

WHITE_D65 = (0.3127, 0.3290)
PRIMARIES = {
    "srgb": ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)),
    "display-p3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
    "rec2020": ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)),
}

# CSS Color 4: XYZ (D65) to cone response, and cube roots of it to Oklab.
XYZ_TO_LMS = np.array(
    [
        [0.8190224379967030, 0.3619062600528904, -0.1288737815209879],
        [0.0329836539323885, 0.9292868615863434, 0.0361446663506424],
        [0.0481771893596242, 0.2642395317527308, 0.6335478284694309],
    ]
)
LMS_TO_OKLAB = np.array(
    [
        [0.2104542683093140, 0.7936177747023054, -0.0040720430116193],
        [1.9779985324311684, -2.4285922420485799, 0.4505937096174110],
        [0.0259040424655478, 0.7827717124575296, -0.8086757549230774],
    ]
)

BT2020_ALPHA = 1.09929682680944
BT2020_BETA = 0.018053968510807

# Air wavelengths in nm, for channels that give a line but no centre of their own.
LINE_CENTERS_NM = {
    "hb": 486.133,
    "oiii": 500.684,
    "oi": 630.030,
    "ha": 656.28,
    "nii": 658.345,
    "sii": 672.40,
}
BROADBAND = {"l": (1.0, 1.0, 1.0), "r": (1.0, 0.0, 0.0), "g": (0.0, 1.0, 0.0), "b": (0.0, 0.0, 1.0)}

# Corners of the edge of the sRGB gamut with one component 1 and one component 0.
EDGE_CORNERS = ((1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 1, 1), (0, 0, 1), (1, 0, 1), (1, 0, 0))


def apply_matrix(matrix, colors):
    """`matrix` times each colour of an array of shape (..., 3)."""
    return colors @ np.asarray(matrix).T


@functools.cache
def rgb_to_xyz(space):
    """Linear RGB of `space` to XYZ with Y = 1 for its white, from the primaries."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in PRIMARIES[space]]).T
    x, y = WHITE_D65
    white = np.array([x / y, 1.0, (1 - x - y) / y])
    return columns * np.linalg.solve(columns, white)


@functools.cache
def srgb_to_space(space):
    """Linear sRGB to linear RGB of `space` (all have the same white)."""
    if space == "srgb":
        return np.eye(3)
    return np.linalg.solve(rgb_to_xyz(space), rgb_to_xyz("srgb"))


def decode_srgb(tone):
    """sRGB decoding, extended to negative numbers as an odd function."""
    size = np.abs(tone)
    light = np.where(size <= 0.04045, size / 12.92, ((size + 0.055) / 1.055) ** 2.4)
    return np.copysign(light, tone)


def encode(light, space):
    """The transfer function of `space` on linear light in 0..1."""
    if space == "rec2020":
        curved = BT2020_ALPHA * light**0.45 - (BT2020_ALPHA - 1)
        return np.where(light < BT2020_BETA, 4.5 * light, curved)
    curved = 1.055 * light ** (1 / 2.4) - 0.055
    return np.where(light <= 0.0031308, 12.92 * light, curved)


@functools.cache
def srgb_to_lms():
    return XYZ_TO_LMS @ rgb_to_xyz("srgb")


def to_oklab(light):
    """Linear sRGB to Oklab; the cube roots keep their sign."""
    return apply_matrix(LMS_TO_OKLAB, np.cbrt(apply_matrix(srgb_to_lms(), light)))


def from_oklab(oklab):
    """Oklab to linear sRGB."""
    roots = apply_matrix(np.linalg.inv(LMS_TO_OKLAB), oklab)
    return apply_matrix(np.linalg.inv(srgb_to_lms()), roots**3)


def hue_deg(light):
    """Oklab hue angle in degrees, 0..360, of one colour in linear sRGB."""
    _, a, b = to_oklab(np.asarray(light, dtype=np.float64))
    return math.degrees(math.atan2(b, a)) % 360


def pure_color(hue):
    """The colour of the given Oklab hue on the edge of the sRGB gamut, linear light."""
    first = hue_deg(EDGE_CORNERS[0])
    wanted = (hue - first) % 360
    for start, end in zip(EDGE_CORNERS, EDGE_CORNERS[1:]):
        reached = (hue_deg(end) - first) % 360 or 360.0
        if wanted <= reached:
            break
    start, end = np.array(start, dtype=np.float64), np.array(end, dtype=np.float64)
    low, high = 0.0, 1.0
    for _ in range(80):
        middle = (low + high) / 2
        if (hue_deg(start + middle * (end - start)) - first) % 360 < wanted:
            low = middle
        else:
            high = middle
    return start + high * (end - start)


@functools.cache
def observer():
    """Wavelengths in nm and the CIE 1931 2-degree functions, 380..780 nm, 1 nm."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    functions = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    wavelengths = np.arange(380.0, 781.0)
    return wavelengths, np.array([functions[wavelength] for wavelength in wavelengths])


def tristimulus(center_nm):
    """XYZ of monochromatic light at `center_nm`, linear between the table's rows."""
    wavelengths, functions = observer()
    if not wavelengths[0] <= center_nm <= wavelengths[-1]:
        raise ValueError(f"a line at {center_nm} nm has no colour: it is outside 380..780 nm")
    return np.array([np.interp(center_nm, wavelengths, functions[:, i]) for i in range(3)])


def line_color(center_nm):
    """Linear sRGB of a line, its largest component 1; negative components stay."""
    light = np.linalg.solve(rgb_to_xyz("srgb"), tristimulus(center_nm))
    return light / light.max()


def center_of(channel):
    """The channel's wavelength in nm, or None for the broadband channels."""
    if "center_nm" in channel:
        return float(channel["center_nm"])
    line = channel["line"].lower()
    return None if line in BROADBAND else LINE_CENTERS_NM[line]


def color_vector(notation, channel):
    """The three numbers, in linear sRGB, that one colour of a recipe means."""
    if notation == "natural":
        center = center_of(channel)
        return np.array(BROADBAND[channel["line"].lower()]) if center is None else line_color(center)
    if isinstance(notation, str):
        linear = Color(notation).convert("srgb-linear")
        return np.array(linear.coords(nans=False), dtype=np.float64)
    if isinstance(notation, dict):
        saturation = notation.get("saturation", 1.0)
        pure = pure_color(notation["hue"])
        return notation.get("strength", 1.0) * ((1 - saturation) + saturation * pure)
    return np.array(notation, dtype=np.float64)


def color_vectors(rendition, channels):
    """The colour vector of each channel of a rendition, by channel id."""
    colors = rendition["colors"]
    vectors = {name: color_vector(colors[name], channels[name]) for name in colors}
    if rendition.get("eye", False):
        efficiency = {
            name: tristimulus(center_of(channels[name]))[1]
            for name, notation in colors.items()
            if notation == "natural" and center_of(channels[name]) is not None
        }
        brightest = max(efficiency.values(), default=1.0)
        for name, value in efficiency.items():
            vectors[name] = vectors[name] * (value / brightest)
    return vectors
