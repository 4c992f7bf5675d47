"""Reading pictures for the reference implementation, with other people's readers.

What
    `read_channel` gives one grey plane as physical values in float64, NaN where
    there are none; `read_composite` gives a finished picture as
    (rows, columns, 3) code values or floats.

    FITS goes through astropy, but the stored numbers are scaled here
    (BZERO + BSCALE * stored, in double precision; BLANK is compared before),
    TIFF through tifffile, PNG through imagecodecs: their code values stand as
    they are. Rows come in file order. `hdu` and `plane` count from 0.

Needs
    pip install numpy astropy tifffile imagecodecs

Run
    Not a program: `reference.py` imports it.
"""

from pathlib import Path

import imagecodecs
import numpy as np
import tifffile
from astropy.io import fits


def physical_values(hdu):
    """The HDU's values in float64; NaN where BLANK or not finite."""
    stored = hdu.data
    values = stored.astype(np.float64)
    header = hdu.header
    if stored.dtype.kind != "f" and "BLANK" in header:
        values[stored == header["BLANK"]] = np.nan
    return header.get("BZERO", 0.0) + header.get("BSCALE", 1.0) * values


def first_image(hdus):
    """The first HDU that holds an image of at least two axes."""
    for hdu in hdus:
        if hdu.is_image and hdu.header.get("NAXIS", 0) >= 2:
            return hdu
    raise ValueError("no image HDU of two or more axes")


def read_fits(path, hdu=None):
    with fits.open(path, do_not_scale_image_data=True, memmap=False) as hdus:
        return physical_values(first_image(hdus) if hdu is None else hdus[hdu])


def read_raster(path):
    """PNG, or a TIFF's first page, as it stands: (rows, columns) or (rows, columns, samples)."""
    if Path(path).suffix.lower() == ".png":
        return imagecodecs.png_decode(Path(path).read_bytes())
    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages[0]
        samples = page.asarray()
        return np.moveaxis(samples, 0, -1) if page.axes.startswith("S") else samples


def read_channel(path, plane=None, hdu=None):
    """One plane of a file as float64 (rows, columns), NaN where there is no data."""
    if Path(path).suffix.lower() in {".fits", ".fit", ".fts", ".fz"}:
        values = read_fits(path, hdu)
    else:
        values = read_raster(path).astype(np.float64)
        values = np.moveaxis(values, -1, 0) if values.ndim == 3 else values
    while values.ndim > 2 and len(values) == 1:
        values = values[0]
    if values.ndim == 3:
        if plane is None:
            raise ValueError(f"{path} has {len(values)} planes: the recipe must pick one")
        values = values[plane]
    return np.where(np.isfinite(values), values, np.nan)


def read_composite(path):
    """A finished picture as (rows, columns, 3): code values, or linear light as floats."""
    if Path(path).suffix.lower() in {".fits", ".fit"}:
        return np.moveaxis(read_fits(path), 0, -1)
    return read_raster(path)
