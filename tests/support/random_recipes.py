"""Random recipes: the program's composite against the double-precision one.

What
    Makes small random FITS inputs and random recipes over them, moderate ones
    and (every third) extreme ones, runs `linehue compose` on each and compares
    the result with `reference.compose`. Each recipe depends on its seed alone,
    so that a bad one can be made again with `--first SEED --count 1`.

    Allowed: 1 code, 2 with a curve or an Oklab step, for floats 1e-5 of the
    largest value (at least 1). Prints the worst recipes; exit 1 if any is over
    what is allowed or if the program failed on one.

Needs
    pip install numpy scipy astropy tifffile imagecodecs coloraide colour-science

Run
    python random_recipes.py --linehue target/debug/linehue --count 200
"""

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

import numpy as np
from astropy.io import fits

from reference import DEPTHS, SPACES, compare, compose
from reference_read import read_composite

SHAPE = (24, 40)
LINES = (("Hb", 486.133), ("OIII", 500.684), ("Ha", 656.28), ("NII", 658.345), ("SII", 672.4))
MODERATE = {"asinh": (1, 500), "log": (1, 1000), "power": (0.3, 3), "bias": (0.05, 0.95)}
EXTREME = {"asinh": (1e-3, 1e5), "log": (1e-4, 1e6), "power": (0.1, 8), "bias": (0.005, 0.995)}
NAMED = ("crimson", "teal", "gold", "slateblue", "white", "orangered")


class Result(NamedTuple):
    """One comparison; `excess` is the difference in units of what is allowed."""

    excess: float
    seed: int
    recipe: str
    note: str


class Maker:
    """Draws one recipe and its inputs from one seed."""

    def __init__(self, seed, folder):
        self.rng = np.random.default_rng(seed)
        self.folder = folder
        self.extreme = seed % 3 == 2
        self.space = str(self.rng.choice(SPACES))
        self.depth = str(self.rng.choice(DEPTHS, p=(0.15, 0.6, 0.25)))
        self.oklab = False

    def chance(self, probability):
        return self.rng.random() < probability

    def number(self, low, high, digits=6):
        return float(f"{self.rng.uniform(low, high):.{digits}g}")

    def input(self, path):
        """Write random values in a random type; return the black and white points."""
        rng = self.rng
        unit = rng.beta(0.6, 1.8, SHAPE)
        missing = rng.random(SHAPE) < 0.02
        kind = rng.choice(("unit", "pedestal", "scaled", "unsigned"))
        if kind == "unit":
            values = np.where(missing, np.nan, unit).astype(np.float32)
            low, high = 0.0, 1.0
        elif kind == "pedestal":
            low = self.number(100, 20000 if self.extreme else 2000)
            high = low + self.number(0.5, 20)
            values = np.where(missing, np.nan, low + (high - low) * unit).astype(np.float32)
        elif kind == "scaled":
            values = np.where(missing, 32767, np.round(unit * 64000 - 32000)).astype(np.int16)
            low, high = 0.01 * -32000 + 300, 0.01 * 32000 + 300
        else:
            values = np.round(unit * 65535).astype(np.uint16)
            low, high = 0.0, 65535.0
        hdu = fits.PrimaryHDU(values)
        if kind == "scaled":
            hdu.header.update({"BSCALE": 0.01, "BZERO": 300.0, "BLANK": 32767})
        hdu.writeto(path)
        margin = (high - low) * rng.uniform(-0.05, 0.3, 2)
        return float(f"{low + margin[0]:.9g}"), float(f"{high - margin[1]:.9g}")

    def curve(self):
        count = int(self.rng.integers(2, 7))
        x = np.sort(self.rng.choice(np.arange(0, 101), count, replace=False)) / 100
        y = np.sort(self.rng.random(count))
        return [[float(a), round(float(b), 4)] for a, b in zip(x, y)]

    def channel(self, index, line, center):
        name = f"c{index}"
        black, white = self.input(self.folder / f"{name}.fits")
        shape = str(self.rng.choice(("linear", "asinh", "log", "power", "bias")))
        text = [
            "[[channel]]",
            f'id = "{name}"',
            f'file = "{name}.fits"',
            f'line = "{line}"',
            f"center_nm = {center}",
            "[channel.stretch]",
            f"black = {black}",
            f"white = {white}",
            f'shape = "{shape}"',
        ]
        if shape != "linear":
            low, high = (EXTREME if self.extreme else MODERATE)[shape]
            logarithmic = shape != "bias"
            span = np.log([low, high]) if logarithmic else np.array([low, high])
            drawn = self.rng.uniform(*span)
            text.append(f"amount = {float(np.exp(drawn)) if logarithmic else float(drawn):.6f}")
        if self.chance(0.3):
            self.oklab = True
            text.append(f"curve = {self.curve()}")
        return name, text

    def css(self):
        rng = self.rng
        return str(
            rng.choice(
                (
                    f"#{rng.integers(0, 1 << 24):06x}",
                    f"rgb({rng.integers(0, 256)} {rng.integers(0, 256)} {rng.integers(0, 256)})",
                    f"hsl({self.number(0, 360)} {self.number(0, 100)}% {self.number(10, 90)}%)",
                    f"oklch({self.number(0.3, 0.9)} {self.number(0, 0.3)} {self.number(0, 360)})",
                    f"oklab({self.number(0.3, 0.9)} {self.number(-0.2, 0.2)} {self.number(-0.2, 0.2)})",
                    f"lab({self.number(20, 90)} {self.number(-60, 60)} {self.number(-60, 60)})",
                    f"color(display-p3 {self.number(0, 1)} {self.number(0, 1)} {self.number(0, 1)})",
                    f"color(rec2020 {self.number(0, 1)} {self.number(0, 1)} {self.number(0, 1)})",
                    str(rng.choice(NAMED)),
                )
            )
        )

    def color(self, negative):
        """One colour as the recipe writes it; without `negative`, none below zero."""
        kind = self.rng.choice(("css", "vector", "hue", "natural"))
        if kind == "css" and negative:
            return f'"{self.css()}"'
        if kind == "natural":
            return '"natural"'
        if kind == "hue":
            saturation = self.number(0, 1.3 if negative else 1)
            strength = self.number(0.2, 3 if self.extreme else 1.3)
            hue = self.number(0, 360)
            return f"{{ hue = {hue}, saturation = {saturation}, strength = {strength} }}"
        low, high = (-0.6 if negative else 0.0), (2.5 if self.extreme else 1.2)
        return str([self.number(low, high) for _ in range(3)])

    def rendition(self, names):
        """The rendition. Dividing by a lightness that cancels to nothing is left to
        the extreme recipes: elsewhere `luminance` meets colours that light can have."""
        with_luminance = self.chance(0.25)
        negative = self.extreme or not with_luminance
        colors = ", ".join(f"{name} = {self.color(negative)}" for name in names)
        text = [
            "[[rendition]]",
            'id = "drawn"',
            f'blend = "{self.rng.choice(("light", "tone", "screen"))}"',
            f"colors = {{ {colors} }}",
        ]
        gamut = str(self.rng.choice(("", "hold-hue", "clip")))
        if gamut:
            text.append(f'gamut = "{gamut}"')
        if self.chance(0.2):
            text.append("eye = true")
        if self.chance(0.3):
            self.oklab = True
            text.append(f"saturation = {self.number(0, 3 if self.extreme else 1.8)}")
        if with_luminance:
            self.oklab = True
            count = int(self.rng.integers(1, len(names) + 1))
            weights = ", ".join(f"{name} = {self.number(0.1, 1)}" for name in names[:count])
            text.append(f"luminance = {{ from = {{ {weights} }}, amount = {self.number(0, 1)} }}")
        return text

    def recipe(self):
        count = int(self.rng.integers(1, len(LINES) + 1))
        chosen = self.rng.permutation(len(LINES))[:count]
        names, text = [], ["recipe = 1", 'reference = "c0"']
        for index, which in enumerate(chosen):
            name, lines = self.channel(index, *LINES[which])
            names.append(name)
            text += ["", *lines]
        return "\n".join([*text, "", *self.rendition(names), ""])

    def ending(self):
        return str(self.rng.choice(("tif", "fits") if self.depth == "32f" else ("tif", "png")))

    def allowed(self, expected):
        if self.depth == "32f":
            return 1e-5 * max(1.0, float(np.abs(expected).max()))
        return 2.0 if self.oklab else 1.0


def run(linehue, seed):
    """Make, compose and compare the recipe of one seed."""
    with tempfile.TemporaryDirectory(prefix="random-recipes-") as folder:
        folder = Path(folder)
        maker = Maker(seed, folder)
        text = maker.recipe()
        recipe, output = folder / "recipe.toml", folder / f"out.{maker.ending()}"
        recipe.write_text(text, encoding="utf-8")
        expected = compose(recipe, "drawn", maker.space, maker.depth)
        options = ["--rendition", "drawn", "--space", maker.space, "--depth", maker.depth]
        done = subprocess.run(
            [linehue, "compose", recipe, "-o", output, *options], capture_output=True, text=True
        )
        settings = f"{maker.space}, {maker.depth}, {output.suffix[1:]}"
        if done.returncode != 0:
            return Result(np.inf, seed, text, f"{settings}: exit {done.returncode}: {done.stderr}")
        largest, differing, fraction = compare(expected, read_composite(output))
    allowed = maker.allowed(expected)
    note = f"{settings}: largest {largest:g} of {allowed:g} allowed, {differing} differ ({fraction:.3%})"
    return Result(largest / allowed, seed, text, note)


def main():
    parser = argparse.ArgumentParser(description="Compare random recipes with the reference.")
    parser.add_argument("--linehue", required=True, type=Path, help="the program to test")
    parser.add_argument("--count", type=int, default=100, help="how many recipes")
    parser.add_argument("--first", type=int, default=0, metavar="SEED", help="the first seed")
    parser.add_argument("--show", type=int, default=3, help="how many of the worst to print")
    arguments = parser.parse_args()

    linehue = arguments.linehue.resolve()
    seeds = range(arguments.first, arguments.first + arguments.count)
    results = sorted((run(linehue, seed) for seed in seeds), key=lambda result: -result.excess)
    for result in results[: arguments.show]:
        print(f"seed {result.seed}: {result.note}\n{result.recipe}")
    over = [result.seed for result in results if result.excess > 1]
    print(f"{len(results)} recipes, {len(over)} over what is allowed {over or ''}")
    sys.exit(1 if over else 0)


if __name__ == "__main__":
    main()
