"""The composite of a recipe in double precision: what Linehue is checked against.

What
    `compose(recipe_path, rendition_id, space, depth)` makes a composite from a
    recipe whose channels need neither aligning nor levelling. Everything is
    float64 and written as plainly as the formulas are; it shares no code, no
    table and no constant with the program under test.

    Steps: read, stretch (black and white points, shape, curve), mix (light,
    tone or screen), finish (luminance, saturation, output space, gamut), encode.
    A pixel without data has the tone 0, so it contributes nothing. Without a
    `gamut` step nothing is held back until integer samples clamp to 0..1.

Needs
    pip install numpy scipy astropy tifffile imagecodecs coloraide colour-science

Run
    python reference.py RECIPE --rendition ID [--space srgb] [--depth 16] -o OUT.npy
    python reference.py RECIPE --rendition ID [--space srgb] [--depth 16] --against FILE
"""

import argparse
import tomllib
from pathlib import Path

import numpy as np
from scipy.interpolate import PchipInterpolator

import reference_color as color
from reference_read import read_channel, read_composite

SPACES = tuple(color.PRIMARIES)
MAXIMUM = {"8": 255, "16": 65535}
DEPTHS = (*MAXIMUM, "32f")


def shape(t, stretch):
    """The stretch's shape on t in 0..1."""
    name, amount = stretch.get("shape", "linear"), stretch.get("amount")
    if name == "linear":
        return t
    if name == "asinh":
        return np.arcsinh(amount * t) / np.arcsinh(amount)
    if name == "log":
        return np.log1p(amount * t) / np.log1p(amount)
    if name == "power":
        return t**amount
    if name == "bias":
        return t / ((1 / amount - 2) * (1 - t) + 1)
    raise ValueError(f"no shape is called {name!r}")


def curve(y, points):
    """Monotone cubic through the points; flat outside the first and the last."""
    x, heights = np.array(points, dtype=np.float64).T
    return PchipInterpolator(x, heights)(np.clip(y, x[0], x[-1]))


def tone_of(values, stretch):
    """Physical values to tones in 0..1; 0 where there is no data."""
    black, white = stretch["black"], stretch["white"]
    t = np.clip((values - black) / (white - black), 0, 1)
    tone = shape(t, stretch)
    if "curve" in stretch:
        tone = curve(tone, stretch["curve"])
    return np.where(np.isnan(values), 0.0, tone)


def mix(tones, vectors, blend):
    """Tones by channel id and colour vectors by channel id to linear sRGB."""
    layers = [(tones[name][..., None], vector) for name, vector in vectors.items()]
    if blend == "light":
        return sum(color.decode_srgb(tone) * vector for tone, vector in layers)
    if blend == "tone":
        return color.decode_srgb(sum(tone * vector for tone, vector in layers))
    if blend == "screen":
        uncovered = 1.0
        for tone, vector in layers:
            uncovered = uncovered * (1 - np.clip(color.decode_srgb(tone) * vector, 0, 1))
        return 1 - uncovered
    raise ValueError(f"no blend is called {blend!r}")


def set_luminance(light, tones, luminance):
    """The Oklab lightness moves towards that of a grey mixed from some channels."""
    weights, amount = luminance["from"], luminance.get("amount", 1.0)
    grey = sum(weight * color.decode_srgb(tones[name]) for name, weight in weights.items())
    grey = grey / sum(weights.values())
    lightness = color.to_oklab(light)[..., 0]
    wanted = (1 - amount) * lightness + amount * np.cbrt(grey)
    dark = lightness == 0
    scale = (wanted / np.where(dark, 1.0, lightness)) ** 3
    return np.where(dark[..., None], (grey * amount**3)[..., None], light * scale[..., None])


def saturate(light, factor):
    """Oklab a and b times `factor`."""
    return color.from_oklab(color.to_oklab(light) * np.array([1.0, factor, factor]))


def hold_hue(light, space):
    """Into the gamut along the line to the grey of equal luminance, then below 1."""
    luminance = (light @ color.rgb_to_xyz(space)[1])[..., None]
    lowest = light.min(axis=-1, keepdims=True)
    outside = lowest < 0
    visible = luminance > 0
    movable = outside & visible
    kept = np.where(movable, luminance, 1.0) / np.where(movable, luminance - lowest, 1.0)
    held = np.where(outside, np.maximum(luminance + kept * (light - luminance), 0.0), light)
    held = np.where(outside & ~visible, 0.0, held)
    return held / np.maximum(held.max(axis=-1, keepdims=True), 1.0)


def fit_gamut(light, gamut, space):
    if gamut is None:
        return light
    if gamut == "clip":
        return np.clip(light, 0, 1)
    if gamut == "hold-hue":
        return hold_hue(light, space)
    raise ValueError(f"no gamut step is called {gamut!r}")


def encode(light, space, depth):
    """Code values of an integer depth; linear light as float64 for `32f`."""
    if depth == "32f":
        return light
    coded = color.encode(np.clip(light, 0, 1), space)
    return np.floor(coded * MAXIMUM[depth] + 0.5).astype(np.uint8 if depth == "8" else np.uint16)


def find(items, identifier):
    for item in items:
        if item["id"] == identifier:
            return item
    raise ValueError(f"the recipe has no {identifier!r}")


def load_tones(recipe, folder, names):
    """The tone of each named channel, by channel id."""
    tones = {}
    for name in names:
        channel = find(recipe["channel"], name)
        if "align" in channel or "level" in channel:
            raise ValueError(f"{name}: the reference neither aligns nor levels")
        values = read_channel(folder / channel["file"], channel.get("plane"), channel.get("hdu"))
        tones[name] = tone_of(values, channel["stretch"])
    return tones


def compose(recipe_path, rendition_id, space="srgb", depth="16"):
    """The composite as (rows, columns, 3): codes as integers, `32f` as float64."""
    recipe_path = Path(recipe_path)
    recipe = tomllib.loads(recipe_path.read_text(encoding="utf-8"))
    rendition = find(recipe["rendition"], rendition_id)
    luminance = rendition.get("luminance")
    names = dict.fromkeys([*rendition["colors"], *(luminance["from"] if luminance else ())])
    tones = load_tones(recipe, recipe_path.parent, names)
    channels = {channel["id"]: channel for channel in recipe["channel"]}

    vectors = color.color_vectors(rendition, channels)
    light = mix(tones, vectors, rendition.get("blend", "light"))
    if luminance:
        light = set_luminance(light, tones, luminance)
    if "saturation" in rendition:
        light = saturate(light, rendition["saturation"])
    light = color.apply_matrix(color.srgb_to_space(space), light)
    light = fit_gamut(light, rendition.get("gamut"), space)
    return encode(light, space, depth)


def compare(expected, found):
    """Largest difference, count of differing samples, their fraction."""
    if expected.shape != found.shape:
        raise ValueError(f"the shapes differ: {expected.shape} and {found.shape}")
    difference = np.abs(found.astype(np.float64) - expected.astype(np.float64))
    # A value that is not a number on one side only is as wrong as can be.
    difference = np.where(np.isnan(difference), np.inf, difference)
    differing = int(np.count_nonzero(difference))
    return float(difference.max()), differing, differing / difference.size


def main():
    parser = argparse.ArgumentParser(description="Compose a recipe in double precision.")
    parser.add_argument("recipe", type=Path)
    parser.add_argument("--rendition", required=True, metavar="ID")
    parser.add_argument("--space", choices=SPACES, default="srgb")
    parser.add_argument("--depth", choices=DEPTHS, default="16")
    parser.add_argument("-o", "--output", type=Path, metavar="OUT.npy")
    parser.add_argument("--against", type=Path, metavar="FILE", help="TIFF, PNG or FITS to compare")
    arguments = parser.parse_args()
    if not (arguments.output or arguments.against):
        parser.error("give -o OUT.npy, --against FILE, or both")

    expected = compose(arguments.recipe, arguments.rendition, arguments.space, arguments.depth)
    if arguments.output:
        np.save(arguments.output, expected)
    if arguments.against:
        largest, differing, fraction = compare(expected, read_composite(arguments.against))
        unit = "" if arguments.depth == "32f" else " codes"
        print(f"largest difference {largest:g}{unit}")
        print(f"differing samples {differing} of {expected.size} ({fraction:.4%})")


if __name__ == "__main__":
    main()
