"""The composite as a careful script in numpy makes it, for timing.

What
    `numpy_compose` does in single precision what `linehue compose` does with
    the recipe of `recipe_text`: asinh stretch, light blend, sRGB encoding, 16
    bits, uncompressed TIFF. Its inputs are memory-mapped, its arithmetic works
    in place, and it goes through the picture in bands of rows that stay in the
    processor's cache, unless it is told to take the picture whole, as most
    scripts do.

    The other tasks serve `speed.py`, which runs this file as a process of its
    own so that its memory can be told from that of others.

Needs
    pip install numpy astropy tifffile (and what reference.py needs, for `check`)

Run
    python speed_numpy.py make DIR --size 6248x4176
    python speed_numpy.py recipe HA OIII SII -o RECIPE
    python speed_numpy.py compose RECIPE -o OUT.tif [--band-rows 16]
    python speed_numpy.py check RECIPE OUT.tif
"""

import argparse
import json
import math
import os
import tempfile
import time
import tomllib
from pathlib import Path

import numpy as np
import tifffile
from astropy.io import fits

CHANNELS = ("ha", "oiii", "sii")
LINES = {"ha": "Ha", "oiii": "OIII", "sii": "SII"}
COLORS = {"ha": (0.25, 0.7, 0.05), "oiii": (0.0, 0.25, 0.9), "sii": (0.75, 0.1, 0.0)}
AMOUNT = 80.0
CROP = 256


def open_plane(path):
    """The first image of a FITS file, mapped into memory; scaled if its header says so."""
    with fits.open(path, memmap=True) as hdus:
        return next(hdu.data for hdu in hdus if hdu.is_image and hdu.header["NAXIS"] == 2)


def tone_to_light(tone, scratch):
    """sRGB decoding in place; `scratch` has the same shape."""
    low = tone <= 0.04045
    np.add(tone, 0.055, out=scratch)
    scratch *= 1 / 1.055
    np.power(scratch, 2.4, out=scratch)
    np.multiply(tone, 1 / 12.92, out=scratch, where=low)
    tone[...] = scratch


def light_to_code(light, scratch):
    """sRGB encoding and scaling to 16 bits in place; light is cut to 0..1 first."""
    np.clip(light, 0, 1, out=light)
    low = light <= 0.0031308
    np.power(light, 1 / 2.4, out=scratch)
    scratch *= 1.055 * 65535
    scratch += 0.5 - 0.055 * 65535
    np.multiply(light, 12.92 * 65535, out=scratch, where=low)
    np.add(scratch, 0.5, out=scratch, where=low)
    light[...] = scratch


def band_of(planes, stretches, rows):
    """The code values of some rows: (rows, columns, 3) uint16."""
    shape = planes["ha"][rows].shape
    light = np.zeros((3, *shape), dtype=np.float32)
    tone = np.empty(shape, dtype=np.float32)
    scratch = np.empty(shape, dtype=np.float32)
    for name, plane in planes.items():
        black, white = stretches[name]
        np.subtract(plane[rows], np.float32(black), out=tone, casting="same_kind")
        tone *= np.float32(1 / (white - black))
        np.nan_to_num(tone, copy=False, nan=0.0)
        np.clip(tone, 0, 1, out=tone)
        tone *= AMOUNT
        np.arcsinh(tone, out=tone)
        tone *= np.float32(1 / math.asinh(AMOUNT))
        tone_to_light(tone, scratch)
        for primary, weight in enumerate(COLORS[name]):
            if weight:
                np.multiply(tone, np.float32(weight), out=scratch)
                light[primary] += scratch
    codes = np.empty((*shape, 3), dtype=np.uint16)
    for primary in range(3):
        light_to_code(light[primary], scratch)
        codes[..., primary] = light[primary]
    return codes


def numpy_compose(ha, oiii, sii, out, stretches, band_rows=None):
    """Compose three FITS files into a TIFF; the whole picture at once without `band_rows`."""
    planes = {name: open_plane(path) for name, path in zip(CHANNELS, (ha, oiii, sii), strict=True)}
    height, width = planes["ha"].shape
    step = band_rows or height
    bands = (
        band_of(planes, stretches, slice(top, min(top + step, height)))
        for top in range(0, height, step)
    )
    tifffile.imwrite(
        out,
        data=bands,
        shape=(height, width, 3),
        dtype=np.uint16,
        photometric="rgb",
        rowsperstrip=step,
        metadata=None,
    )


def make_inputs(folder, width, height):
    """Three float32 FITS files: a nebula-like gradient, noise, and a gap without data."""
    rng = np.random.default_rng(4)
    x = np.linspace(-1, 1, width, dtype=np.float32)
    for index, name in enumerate(CHANNELS):
        y = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
        plane = np.hypot(x - 0.1 * index, y)
        plane -= 0.5
        plane *= 5
        np.square(plane, out=plane)
        np.negative(plane, out=plane)
        np.exp(plane, out=plane)
        plane *= 0.2
        plane += 0.01 * x + 0.05
        plane += 0.01 * rng.standard_normal(plane.shape, dtype=np.float32)
        plane[20:40, 30:90] = np.nan
        fits.PrimaryHDU(plane).writeto(folder / f"{name}.fits", overwrite=True)


def recipe_text(files):
    """A recipe for three files; black and white are percentiles of a sample of each."""
    lines = ["recipe = 1", 'reference = "ha"']
    for name, path in zip(CHANNELS, files, strict=True):
        plane = open_plane(path)
        sample = np.asarray(plane[::17, ::13], dtype=np.float64)
        black, white = np.nanpercentile(sample, (1.0, 99.9))
        lines += [
            "",
            "[[channel]]",
            f'id = "{name}"',
            f"file = {json.dumps(str(path.resolve()))}",
            f'line = "{LINES[name]}"',
            "[channel.stretch]",
            f"black = {black:.9g}",
            f"white = {white:.9g}",
            'shape = "asinh"',
            f"amount = {AMOUNT}",
        ]
    colors = ", ".join(f"{name} = {list(COLORS[name])}" for name in CHANNELS)
    rendition = ["", "[[rendition]]", 'id = "timed"', 'blend = "light"', f"colors = {{ {colors} }}"]
    return "\n".join([*lines, *rendition, ""])


def read_recipe(path):
    """The files and the black and white points of a recipe that `recipe_text` wrote."""
    channels = tomllib.loads(path.read_text(encoding="utf-8"))["channel"]
    files = [channel["file"] for channel in channels]
    points = {c["id"]: (c["stretch"]["black"], c["stretch"]["white"]) for c in channels}
    return files, points


def time_compose(recipe, output, band_rows):
    """Seconds of the work alone, imports done: when written, and when on disk."""
    files, points = read_recipe(recipe)
    start = time.perf_counter()
    numpy_compose(*files, output, points, band_rows)
    written = time.perf_counter() - start
    descriptor = os.open(output, os.O_RDONLY)
    os.fsync(descriptor)
    synced = time.perf_counter() - start
    os.close(descriptor)
    return {"seconds": written, "seconds_synced": synced}


def check(recipe, output):
    """Largest difference in codes from the reference, on a crop of the composite."""
    from reference import compare, compose

    files, _ = read_recipe(recipe)
    height, width = open_plane(files[0]).shape
    corners = ((0, 0), (max(height // 2 - CROP, 0), max(width // 2 - CROP, 0)))
    picture = tifffile.imread(output)
    largest = 0.0
    for top, left in corners:
        crop = np.s_[top : top + CROP, left : left + CROP]
        with tempfile.TemporaryDirectory() as folder:
            text = recipe.read_text(encoding="utf-8")
            for name, path in zip(CHANNELS, files, strict=True):
                piece = Path(folder) / f"{name}.fits"
                fits.PrimaryHDU(np.array(open_plane(path)[crop])).writeto(piece)
                text = text.replace(json.dumps(path), json.dumps(str(piece)))
            cropped = Path(folder) / "recipe.toml"
            cropped.write_text(text, encoding="utf-8")
            expected = compose(cropped, "timed")
        largest = max(largest, compare(expected, picture[crop])[0])
    return {"largest_difference": largest}


def parse_size(text):
    width, height = text.lower().split("x")
    return int(width), int(height)


def main():
    parser = argparse.ArgumentParser(description="A composite in numpy, for timing.")
    tasks = parser.add_subparsers(dest="task", required=True)
    task = tasks.add_parser("make", help="write ha.fits, oiii.fits and sii.fits")
    task.add_argument("folder", type=Path)
    task.add_argument("--size", type=parse_size, default=(6248, 4176), metavar="WxH")
    task = tasks.add_parser("recipe", help="write a recipe for three files")
    task.add_argument("files", type=Path, nargs=3)
    task.add_argument("-o", "--output", type=Path, required=True)
    task = tasks.add_parser("compose", help="compose, print the seconds as JSON")
    task.add_argument("recipe", type=Path)
    task.add_argument("-o", "--output", type=Path, required=True)
    task.add_argument("--band-rows", type=int)
    task = tasks.add_parser("check", help="compare a composite with the reference on two crops")
    task.add_argument("recipe", type=Path)
    task.add_argument("output", type=Path)
    arguments = parser.parse_args()

    if arguments.task == "make":
        make_inputs(arguments.folder, *arguments.size)
    elif arguments.task == "recipe":
        arguments.output.write_text(recipe_text(arguments.files), encoding="utf-8")
    elif arguments.task == "compose":
        print(json.dumps(time_compose(arguments.recipe, arguments.output, arguments.band_rows)))
    else:
        print(json.dumps(check(arguments.recipe, arguments.output)))


if __name__ == "__main__":
    main()
