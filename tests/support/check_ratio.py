"""A ratio map against numpy: reads the two stacks and what the map's header says
of their skies, works ratios and uncertainties out anew, and compares both
pictures of the file. For channels that are neither aligned, levelled nor
cropped.

    python tests/support/check_ratio.py map.fits over.fits under.fits
"""

import sys

import numpy as np
from astropy.io import fits
from astropy.wcs import WCS


def means(values, bin):
    height, width = (side // bin * bin for side in values.shape)
    blocks = values[:height, :width].reshape(height // bin, bin, width // bin, bin)
    return blocks.mean(axis=(1, 3))


def main(name, over, under):
    with fits.open(name) as file:
        file.verify("exception")
        head = file["RATIO"].header
        ratio, sigma = (file[part].data.astype(float) for part in ("RATIO", "SIGMA"))
        grid = WCS(file["SIGMA"].header)
    bin = int(head["BINNING"])
    one, other = (fits.getdata(path).astype(float) for path in (over, under))
    full = [values >= head.get(keyword, np.inf)
            for values, keyword in ((one, "FULL1"), (other, "FULL2"))]
    # Means with a full detector in them are left to the program's own tests.
    clear = means((full[0] | full[1]).astype(float), bin) == 0
    n = means(one, bin) - head["SKY1"]
    d = means(other, bin) - head["SKY2"]
    its = np.hypot(head["NOISE1"], head["SKYERR1"])
    theirs = np.hypot(head["NOISE2"], head["SKYERR2"])
    known = clear & (n >= head["MINSNR"] * its) & (d >= head["MINSNR"] * theirs)
    with np.errstate(all="ignore"):
        expected = n / d
        unsure = expected * np.hypot(its / n, theirs / d)
    here = clear & ~np.isnan(ratio)
    print(f"{name}: {ratio.shape}, known {here.mean():.4f}, by numpy {known.mean():.4f},",
          f"otherwise in {np.count_nonzero(here != known)} pixels")
    both = here & known
    print("ratio, largest relative difference", np.abs(ratio / expected - 1)[both].max())
    print("sigma, largest relative difference", np.abs(sigma / unsure - 1)[both].max())
    print("median", np.median(ratio[here]), "above 0.4", np.mean(ratio[here] > 0.4))
    if grid.has_celestial:
        whole = WCS(fits.getheader(over))
        at = (ratio.shape[1] / 3, ratio.shape[0] / 4)
        apart = grid.pixel_to_world(*at).separation(
            whole.pixel_to_world(*((bin * (side + 0.5) - 0.5) for side in at)))
        print("on the sky apart by", apart.arcsec, "arcsec")


main(*sys.argv[1:])
