"""Make the golden cases: tiny inputs, and what the composite of each must be.

What
    tests/golden/*.toml are recipes, written by hand. This script makes the
    pictures they read (tests/golden/inputs, from formulas and seeded noise),
    composes each case below with `reference.py` in double precision, and
    writes the results beside a manifest that the tests read:

    - depth 8 and 16: NAME.SPACE.DEPTH.expected.png, lossless RGB code values;
    - depth 32f: NAME.SPACE.32f.expected.f32, little-endian f32, row by row,
      red, green, blue for each pixel.

    Tolerances. Codes: 1 of 16 bits (or of 8), 2 where a curve or Oklab is in
    use. Floats: the same steps in plain single precision (eps 6e-8, roughly 20
    operations a sample, decoding a tone multiplies a relative error by 2.4,
    Oklab by 3 twice, terms of unlike sign cancel) were measured to stay within
    6e-7, and within 3.4e-6 with Oklab; 3e-6 and 1e-5 leave room for another
    order of operations and are below one 16-bit step of linear light, 1.5e-5.

    Differing samples. A result that is rounded otherwise stays within one code
    in every sample, so integer cases also say what fraction of the samples may
    differ at all: 5 %, where plain single precision was measured to reach 1 %.

Needs
    pip install numpy scipy astropy tifffile imagecodecs coloraide colour-science

Run
    python tests/support/make_golden.py
"""

import argparse
import importlib.metadata
import platform
import tomllib
from pathlib import Path
from typing import NamedTuple

import imagecodecs
import numpy as np
import tifffile
from astropy.io import fits

from reference import compose

GOLDEN = Path(__file__).resolve().parents[1] / "golden"
SHAPE = (64, 96)
SEED = 20260
PACKAGES = ("numpy", "scipy", "astropy", "tifffile", "imagecodecs", "coloraide", "colour-science")
MOST_BYTES = 900_000
MOST_DIFFERING = 0.05
TOLERANCE_FLOAT = 3e-6
TOLERANCE_FLOAT_OKLAB = 1e-5


class Case(NamedTuple):
    recipe: str
    rendition: str
    space: str
    depth: str
    tolerance: float
    covers: str

    @property
    def expected(self):
        ending = "f32" if self.depth == "32f" else "png"
        stem = f"{self.recipe}-{self.rendition}.{self.space}.{self.depth}"
        return f"{stem}.expected.{ending}"


CASES = (
    Case("linear", "mapped", "srgb", "16", 1, "linear, light, hex, vector, hue, hold-hue, NaN, BLANK"),
    Case("linear", "open", "display-p3", "8", 1, "no gamut step, negative components, 8 bits"),
    Case("asinh-tone", "weights", "display-p3", "16", 1, "asinh, tone, negative weights, clip"),
    Case("log-screen", "layers", "srgb", "16", 1, "log, screen, oklch() hsl() lab() strings"),
    Case("power-curve", "vivid", "rec2020", "16", 2, "power, curve, saturation 1.6, hold-hue"),
    Case("power-curve", "grey", "srgb", "8", 1, "saturation 0, named colours"),
    Case("bias", "mapped", "srgb", "16", 2, "bias 0.02 and 0.98, saturation 1, clip"),
    Case("bias", "tones", "rec2020", "8", 1, "bias, tone, negative tones decoded, hold-hue to black"),
    Case("natural", "lines", "rec2020", "16", 1, "natural colours, hold-hue in the widest space"),
    Case("natural", "eye", "display-p3", "16", 1, "natural colours as bright as the eye sees them"),
    Case("natural", "open", "srgb", "32f", TOLERANCE_FLOAT, "floats below 0 and above 1"),
    Case("luminance", "full", "srgb", "16", 2, "luminance of two channels, black takes grey, TIFF"),
    Case("luminance", "half", "display-p3", "32f", TOLERANCE_FLOAT_OKLAB, "luminance 0.5, saturation"),
    Case("broadband", "light", "srgb", "16", 1, "R G B natural; PNG of 8 and 16 bits, TIFF"),
    Case("broadband", "tone", "srgb", "8", 1, "one channel for each primary: as with light"),
    Case("broadband", "screen", "display-p3", "8", 1, "one channel for each primary: as with light"),
    Case("hard", "strong", "srgb", "16", 1, "asinh 5000, log 0.01, power 0.2, strength 3"),
    Case("hard", "narrow", "srgb", "16", 1, "black 1000.1, white 1000.6, one channel"),
    Case("curve-steep", "mapped", "srgb", "16", 2, "steep, flat and falling pieces of a curve"),
)


def shell(x, y, radius, width, rng, noise):
    """A bright ring with a bright middle on a sloping sky, 0..1, and noise."""
    distance = np.hypot(x, y)
    ring = 0.75 * np.exp(-(((distance - radius) / width) ** 2))
    middle = 0.9 * np.exp(-((distance / 0.08) ** 2))
    sky = 0.02 + 0.015 * x + 0.01 * y
    return np.clip(ring + middle + sky + rng.normal(0, noise, x.shape), 0, 1)


def write_fits(path, hdus):
    fits.HDUList(hdus).writeto(path, overwrite=True)


def make_inputs(folder):
    """The pictures of the recipes; each is a different way to store values."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(SEED)
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]]
    x, y = (columns - 47.5) / 64, (rows - 31.5) / 64

    ha = shell(x, y, 0.33, 0.09, rng, 0.004).astype(np.float32)
    ha[5:9, 10:20] = np.nan
    ha[40, ::7] = np.nan
    write_fits(folder / "ha-float32-nan.fits", [fits.PrimaryHDU(ha)])

    # Physical value = 10 + 0.05 * stored, in an extension behind an empty primary.
    # Taken for a number, the blank value would be brighter than every white point.
    oiii = np.round((shell(x, y, 0.24, 0.11, rng, 0.006) * 1000 - 10) / 0.05).astype(np.int16)
    oiii[6:12, 16:30] = 32767
    extension = fits.ImageHDU(oiii)
    extension.header["BSCALE"] = 0.05
    extension.header["BZERO"] = 10.0
    extension.header["BLANK"] = 32767
    write_fits(folder / "oiii-int16-blank.fits", [fits.PrimaryHDU(), extension])

    # astropy stores unsigned 16-bit numbers with BZERO 32768.
    sii = np.round(shell(x + 0.05, y, 0.38, 0.06, rng, 0.003) * 64000).astype(np.uint16)
    write_fits(folder / "sii-uint16.fits", [fits.PrimaryHDU(sii)])

    # A float stack on a high pedestal: the whole range is half a unit wide.
    narrow = 1000 + 0.7 * shell(x, y - 0.06, 0.3, 0.15, rng, 0.002)
    write_fits(folder / "narrow-float32.fits", [fits.PrimaryHDU(narrow.astype(np.float32))])

    lum = np.round(shell(x, y, 0.3, 0.14, rng, 0.002) * 50000).astype(np.uint16)
    tifffile.imwrite(folder / "lum-uint16.tif", lum, photometric="minisblack", metadata=None)
    green = np.round(shell(x - 0.04, y, 0.28, 0.12, rng, 0.002) * 255).astype(np.uint8)
    blue = np.round(shell(x, y + 0.04, 0.25, 0.1, rng, 0.002) * 52000).astype(np.uint16)
    for name, picture in (("green-uint8.png", green), ("blue-uint16.png", blue)):
        (folder / name).write_bytes(imagecodecs.png_encode(picture, level=9))


def write_expected(path, picture):
    """Write the expected samples; integers are read back to prove the PNG lossless."""
    if path.suffix == ".f32":
        path.write_bytes(picture.astype("<f4").tobytes())
        return
    path.write_bytes(imagecodecs.png_encode(picture, level=9))
    back = imagecodecs.png_decode(path.read_bytes())
    if back.dtype != picture.dtype or not np.array_equal(back, picture):
        raise ValueError(f"{path} did not read back as it was written")


def manifest():
    """The manifest's text: the software that made the files, then the cases."""
    lines = [
        "# Written by tests/support/make_golden.py: what each case must give.",
        "# tolerance: code values for depth 8 and 16, linear light for 32f.",
        "# most_differing: the fraction of samples that may differ at all.",
        "# expected: RGB PNG, or raw little-endian f32 (rows, columns, red green blue).",
        "",
        f"width = {SHAPE[1]}",
        f"height = {SHAPE[0]}",
        "",
        "[made_with]",
        f'python = "{platform.python_version()}"',
        *(f'{name} = "{importlib.metadata.version(name)}"' for name in PACKAGES),
    ]
    for case in CASES:
        lines += [
            "",
            "[[case]]",
            f'name = "{case.recipe}-{case.rendition}"',
            f'recipe = "{case.recipe}.toml"',
            f'rendition = "{case.rendition}"',
            f'space = "{case.space}"',
            f'depth = "{case.depth}"',
            f'expected = "{case.expected}"',
            f'covers = "{case.covers}"',
        ]
        if case.depth == "32f":
            lines.append(f"tolerance = {case.tolerance:.1e}")
        else:
            lines += [f"tolerance = {case.tolerance}", f"most_differing = {MOST_DIFFERING}"]
    return "\n".join(lines) + "\n"


def main():
    argparse.ArgumentParser(description="Make the golden cases.").parse_args()
    for stale in GOLDEN.glob("*.expected.*"):
        stale.unlink()
    make_inputs(GOLDEN / "inputs")
    for case in CASES:
        picture = compose(GOLDEN / f"{case.recipe}.toml", case.rendition, case.space, case.depth)
        write_expected(GOLDEN / case.expected, picture)
        print(f"{case.expected}: {picture.min():g} .. {picture.max():g}, mean {picture.mean():g}")
    text = manifest()
    tomllib.loads(text)
    (GOLDEN / "manifest.toml").write_text(text, encoding="utf-8")
    total = sum(path.stat().st_size for path in GOLDEN.rglob("*") if path.is_file())
    print(f"{len(CASES)} cases, {total} bytes")
    if total > MOST_BYTES:
        raise SystemExit(f"more than {MOST_BYTES} bytes")


if __name__ == "__main__":
    main()
