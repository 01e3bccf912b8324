"""What sheets 200 invented plots get, and how much of each stays blank: ``python tests/bench/sheets.py [--plots 200]``.

Blank is what inside a sheet's frame is more than 4 mm outside the least convex outline of all that is drawn, and from
any line or letter of the tables and bars.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.drawn import Drawn, random_survey

from pegline.book.model import BookedSheet
from pegline.plan.display import Stroke
from pegline.plan.fonts import text_width
from pegline.plan.map.features import outline_points
from pegline.plan.model import Plan
from pegline.plan.sheets.papers import MARGIN, Paper

NEAR = 4.0  #: millimetres that belong to whatever stands there


def blank_share(plan: Plan) -> float:
    """Return the share of the first sheet, inside its frame, where nothing is."""
    sheet = plan.sheets[0]
    paper = Paper(sheet.window, sheet.centre, plan.scale, sheet.turn)
    points = [outline_points(feature) for feature in plan.features if plan.layers[feature.layer].plots]
    shapes = [shapely.MultiPoint(paper.points(np.concatenate(points))).convex_hull]
    for item in sheet.page.items:
        if isinstance(item, Stroke):
            shapes += [] if item.layer == "SHEET-FRAME" else [shapely.LineString(item.points)]
        else:
            start = {"left": 0.0, "middle": 0.5, "right": 1.0}[item.anchor] * text_width(item.text, item.height)
            shapes.append(shapely.box(item.x - start, item.y, item.x - start + 10.0, item.y + item.height))
    frame = shapely.box(MARGIN, MARGIN, sheet.page.width - MARGIN, sheet.page.height - MARGIN)
    there = shapely.union_all([shape.buffer(NEAR, quad_segs=2) for shape in shapes]).intersection(frame)
    return 1 - there.area / frame.area


def main() -> None:
    """Draw the plots and print how often each paper was taken, and the shares that stay blank."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plots", type=int, default=200)
    count = parser.parse_args().plots
    papers: Counter[str] = Counter()
    shares = []
    for seed in range(count):
        drawn = random_survey(seed)
        scale = (100, 200, 250, 500)[seed % 4]
        plan = Drawn(**{**drawn.__dict__, "scale": scale, "sheet": BookedSheet()}).plan()
        maps = sum(sheet.window is not None for sheet in plan.sheets)
        papers[plan.sheets[0].paper if maps == 1 else f"{maps} of {plan.sheets[0].paper}"] += 1
        if maps == 1:
            shares.append(blank_share(plan))
    print(", ".join(f"{paper}: {number}" for paper, number in sorted(papers.items())))
    low, middle, high = np.quantile(shares, [0.1, 0.5, 0.9])
    print(f"blank: {middle:.0%} (one in ten under {low:.0%}, one in ten over {high:.0%})")


if __name__ == "__main__":
    main()
