"""Times a contact sheet of 24 palettes of a 26-megapixel field, as a whole process.

    python tests/support/speed_sheet.py --linehue target/release/linehue --dir SCRATCH

Makes seven float32 stacks of 6248 x 4176 pixels (a shell of light, stars of one
pixel, noise, a gap without data; 730 MB), a recipe of all seven and one of the
three lines, and eight palettes of one's own beside the sixteen of the program.
The stacks are read once beforehand, so the page cache is warm. Each command runs
`--runs` times; best and median of the wall clock, processor time and the largest
resident set are printed. Also timed: a comparison of two renditions with keys, and
the key by itself. Needs numpy; Linux or macOS.
"""

import argparse
import multiprocessing
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

CHANNELS = {"ha": "Ha", "oiii": "OIII", "sii": "SII", "l": "L", "r": "R", "g": "G", "b": "B"}
THREE = ("ha", "oiii", "sii")
OWN = 8
RSS_UNIT = 1 if sys.platform == "darwin" else 1024


def card(text):
    return text.ljust(80).encode()


def stack(path, width, height, seed):
    """One stack, written as plain FITS."""
    random = np.random.default_rng(seed)
    x = np.linspace(-1.5, 1.5, width, dtype=np.float32)
    y = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
    plane = 900 * np.exp(-30 * np.square(np.hypot(x - 0.05 * seed, y) - 0.6))
    plane += 300 + 8 * random.standard_normal(plane.shape, dtype=np.float32)
    stars = random.integers(0, plane.size, 20_000)
    plane.reshape(-1)[stars] += 20_000 * random.random(20_000, dtype=np.float32) ** 4
    plane[20:40, 30:90] = np.nan
    cards = [
        "SIMPLE  =                    T",
        "BITPIX  =                  -32",
        "NAXIS   =                    2",
        f"NAXIS1  = {width}",
        f"NAXIS2  = {height}",
        "END",
    ]
    header = b"".join(card(text) for text in cards)
    body = plane.astype(">f4").tobytes()
    with open(path, "wb") as file:
        file.write(header.ljust(2880))
        file.write(body)
        file.write(bytes(-len(body) % 2880))


def recipe(names):
    lines = ["recipe = 1", 'reference = "ha"', "[about]", 'title = "Lantern Shell, large"']
    for name in names:
        lines += [
            "[[channel]]",
            f'id = "{name}"',
            f'file = "{name}.fits"',
            f'line = "{CHANNELS[name]}"',
            'stretch = { black = 290, white = 4000, shape = "asinh", amount = 40 }',
        ]
    for rendition in ("mapped", "natural"):
        lines += ["[[rendition]]", f'id = "{rendition}"', 'gamut = "hold-hue"', "[rendition.colors]"]
        for index, name in enumerate(names):
            hue = f"{{ hue = {40 + 47 * index} }}"
            lines.append(f"{name} = {hue if rendition == 'mapped' else chr(34) + 'natural' + chr(34)}")
    return "\n".join(lines) + "\n"


def palette(number):
    colors = [f"{line} = {{ hue = {(60 * index + 15 * number) % 360} }}"
              for index, line in enumerate(("Ha", "OIII", "SII"))]
    return "\n".join(["palette = 1", f'name = "own {number}"', "[colors]", *colors]) + "\n"


def timed(command, env, runs):
    walls, busy, peak = [], [], 0
    for _ in range(runs):
        start = time.perf_counter()
        process = subprocess.Popen(command, env=env, stdout=subprocess.PIPE)
        said = process.stdout.read().decode()
        _, status, usage = os.wait4(process.pid, 0)
        walls.append(time.perf_counter() - start)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode != 0:
            sys.exit(f"exit {process.returncode}: {' '.join(map(str, command))}")
        busy.append(usage.ru_utime + usage.ru_stime)
        peak = max(peak, usage.ru_maxrss * RSS_UNIT)
    return min(walls), statistics.median(walls), min(busy), peak, said.splitlines()[0]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--linehue", default="target/release/linehue")
    parser.add_argument("--dir", type=Path, required=True)
    parser.add_argument("--width", type=int, default=6248)
    parser.add_argument("--height", type=int, default=4176)
    parser.add_argument("--runs", type=int, default=5)
    options = parser.parse_args()
    folder = options.dir
    folder.mkdir(parents=True, exist_ok=True)
    for seed, name in enumerate(CHANNELS):
        path = folder / f"{name}.fits"
        size = 4 * options.width * options.height
        if not path.is_file() or not 0 <= path.stat().st_size - size - 2880 < 2880:
            # In a process of its own: what this one holds counts as the program's.
            maker = multiprocessing.Process(target=stack, args=(path, options.width, options.height, seed))
            maker.start()
            maker.join()
        with open(path, "rb") as file:
            while file.read(1 << 20):
                pass
    (folder / "seven.toml").write_text(recipe(CHANNELS))
    (folder / "three.toml").write_text(recipe(THREE))
    own = folder / "settings" / "linehue" / "palettes"
    own.mkdir(parents=True, exist_ok=True)
    for number in range(OWN):
        (own / f"own-{number}.toml").write_text(palette(number))
    env = {**os.environ, "XDG_CONFIG_HOME": str(folder / "settings")}
    print(f"{'run':34}{'best s':>8}{'median':>8}{'cpu s':>8}{'MB':>7}")
    for name, arguments in (
        ("sheet, three channels, PNG", ["sheet", "three.toml", "-o", "three.png"]),
        ("sheet, seven channels, PNG", ["sheet", "seven.toml", "-o", "seven.png"]),
        ("sheet, seven channels, JPEG", ["sheet", "seven.toml", "-o", "seven.jpg"]),
        ("sheet, seven channels, PDF", ["sheet", "seven.toml", "-o", "seven.pdf"]),
        ("comparison with keys, PNG", ["compare", "seven.toml", "mapped", "natural", "-o",
                                       "both.png", "--key"]),
        ("key, PNG", ["key", "seven.toml", "-o", "key.png"]),
    ):
        command = [Path(options.linehue).resolve(), *arguments]
        command = [str(folder / part) if "." in str(part) and "/" not in str(part) else str(part)
                   for part in command]
        best, median, busy, peak, said = timed(command, env, options.runs)
        print(f"{name:34}{best:8.2f}{median:8.2f}{busy:8.2f}{peak / 1e6:7.0f}  {said.split('  ')[-1]}")


if __name__ == "__main__":
    main()
