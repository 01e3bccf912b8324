"""The README's picture is what its command makes."""

from __future__ import annotations

import numpy as np
from builders.paths import SAMPLES
from PIL import Image

from pegline.cli import main

SHARE = (
    0.002  #: of the dots that may differ: letters and lines are smoothed a little differently from machine to machine
)


def test_the_picture_of_the_readme_is_made_by_its_command(tmp_path):
    # pegline plot samples/house-plot.yaml --out samples --formats png
    status = main(["plot", str(SAMPLES / "house-plot.yaml"), "--out", str(tmp_path), "--formats", "png"])

    assert status == 0
    with Image.open(tmp_path / "house-plot.png") as made, Image.open(SAMPLES / "house-plot.png") as kept:
        assert made.size == kept.size
        dots = [np.asarray(image.convert("L"), dtype=int) for image in (made, kept)]
    assert np.mean(np.abs(dots[0] - dots[1]) > 64) < SHARE
