"""The raw work of one book, done with bare libraries and no care: the reference that a run of pegline is compared with.

    python tests/bench/reference.py BOOK OUT [--formats gpkg,dxf,pdf]

Reads only what make_book.py writes (stations with sketch, taped lines, perpendicular details, open features). It checks
nothing, explains nothing and keeps no history, so it is a floor, not a rival. Both sides must be timed in one run, turn
and turn about; a ratio below about 1.4 between two runs on a busy machine is noise.
"""

from __future__ import annotations

import argparse
import sys
from itertools import pairwise
from pathlib import Path


def load(text):
    """YAML by libyaml's events with marks kept, as a careful reader must."""
    from yaml._yaml import CParser
    from yaml.events import (
        AliasEvent,
        MappingEndEvent,
        MappingStartEvent,
        ScalarEvent,
        SequenceEndEvent,
        SequenceStartEvent,
        StreamEndEvent,
    )

    parser, stack, marks = CParser(text), [], {}
    holder, key, root = None, None, None
    while True:
        event = parser.get_event()
        kind = type(event)
        if kind is ScalarEvent:
            if isinstance(holder, dict) and key is None:
                key = event.value
                continue
            value = event.value
            marks[id(holder), key if isinstance(holder, dict) else len(holder)] = (
                event.start_mark.line,
                event.start_mark.column,
            )
        elif kind is MappingStartEvent or kind is SequenceStartEvent:
            new = {} if kind is MappingStartEvent else []
            if holder is None:
                root = new
            elif isinstance(holder, dict):
                holder[key] = new
            else:
                holder.append(new)
            stack.append((holder, None))
            holder, key = new, None
            continue
        elif kind is MappingEndEvent or kind is SequenceEndEvent:
            holder, key = stack.pop()
            continue
        elif kind is StreamEndEvent:
            return root, marks
        elif kind is AliasEvent:
            raise ValueError("alias")
        else:
            continue
        if isinstance(holder, dict):
            holder[key], key = value, None
        else:
            holder.append(value)


def solve(start, ends, taped, sigma=0.008):
    """Return positions and variances of a free network by Gauss-Newton.

    The first station and the direction of the first line are held. A large network gets no variances.
    """
    import numpy as np

    n = len(start)
    x = start.copy()
    if 2 * n <= 400:
        for _ in range(8):
            d = x[ends[:, 1]] - x[ends[:, 0]]
            length = np.hypot(*d.T)
            u = d / length[:, None]
            jac = np.zeros((len(ends) + 3, 2 * n))
            rows = np.arange(len(ends))
            for k in (0, 1):
                jac[rows, 2 * ends[:, 0] + k] = -u[:, k]
                jac[rows, 2 * ends[:, 1] + k] = u[:, k]
            a, b = ends[0]
            jac[-3, 2 * a] = jac[-2, 2 * a + 1] = 1e3
            jac[-1, [2 * a, 2 * a + 1, 2 * b, 2 * b + 1]] = np.array([u[0, 1], -u[0, 0], -u[0, 1], u[0, 0]]) * 1e3
            normal = jac.T @ jac
            step = np.linalg.solve(normal, jac.T @ np.concatenate([taped - length, [0, 0, 0]]))
            x += step.reshape(-1, 2)
            if abs(step).max() < 1e-7:
                break
        return x, np.diag(np.linalg.inv(normal)) * sigma**2
    from scipy.sparse import coo_matrix
    from scipy.sparse.linalg import splu

    for _ in range(8):
        d = x[ends[:, 1]] - x[ends[:, 0]]
        length = np.hypot(*d.T)
        u = d / length[:, None]
        rows = np.repeat(np.arange(len(ends)), 4)
        cols = np.stack([2 * ends[:, 0], 2 * ends[:, 0] + 1, 2 * ends[:, 1], 2 * ends[:, 1] + 1], 1).ravel()
        vals = np.stack([-u[:, 0], -u[:, 1], u[:, 0], u[:, 1]], 1).ravel()
        a, b = ends[0]
        m = len(ends)
        rows = np.concatenate([rows, [m, m + 1, m + 2, m + 2, m + 2, m + 2]])
        cols = np.concatenate([cols, [2 * a, 2 * a + 1, 2 * a, 2 * a + 1, 2 * b, 2 * b + 1]])
        vals = np.concatenate([vals, [1e3, 1e3, u[0, 1] * 1e3, -u[0, 0] * 1e3, -u[0, 1] * 1e3, u[0, 0] * 1e3]])
        jac = coo_matrix((vals, (rows, cols)), shape=(m + 3, 2 * n)).tocsc()
        lu = splu(
            (jac.T @ jac).tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )
        step = lu.solve(jac.T @ np.concatenate([taped - length, [0, 0, 0]]))
        x += step.reshape(-1, 2)
        if abs(step).max() < 1e-7:
            break
    return x, None


def main():
    args = argparse.ArgumentParser(description=__doc__)
    args.add_argument("book")
    args.add_argument("out")
    args.add_argument("--formats", default="gpkg,dxf,pdf")
    args = args.parse_args()
    formats = args.formats.split(",")
    book, _ = load(Path(args.book).read_text(encoding="utf-8"))
    import numpy as np

    names = list(book["stations"])
    row = {name: i for i, name in enumerate(names)}
    start = np.array([[float(v) for v in s["sketch"]] for s in book["stations"].values()])
    ends = np.array([[row[name] for name in key.split("-")] for key in book["lines"]])
    taped = np.array([float(line["taped"]) for line in book["lines"].values()])
    x, variance = solve(start, ends, taped)
    detail = [(k, d) for k, line in enumerate(book["lines"].values()) for d in line.get("details", ())]
    of = np.array([k for k, _ in detail], int)
    at = np.array([float(d["at"]) for _, d in detail])
    offset = np.array([float(d["left"]) if "left" in d else -float(d["right"]) for _, d in detail])
    along = (x[ends[:, 1]] - x[ends[:, 0]]) / taped[:, None]
    feet = x[ends[of, 0]] + at[:, None] * along[of]
    points = feet + offset[:, None] * np.stack([-along[of, 1], along[of, 0]], 1)
    where = {d["point"]: i for i, (_, d) in enumerate(detail)}
    features = [(name, points[[where[p] for p in f["through"]]]) for name, f in book.get("features", {}).items()]
    out = Path(args.out)
    out.mkdir(parents=True, exist_ok=True)
    stem = str(out / Path(args.book).stem)
    labels = [d["point"] for _, d in detail]
    source = [f"{Path(args.book).name}:{i}" for i in range(len(detail))]
    if "gpkg" in formats:
        import fiona

        Path(stem + ".gpkg").unlink(missing_ok=True)
        wkt = 'ENGCRS["Local",EDATUM["peg"],CS[Cartesian,2],AXIS["(E)",east],AXIS["(N)",north],LENGTHUNIT["metre",1]]'

        def point(p):
            return {"type": "Point", "coordinates": (p[0], p[1])}

        def line(p):
            return {"type": "LineString", "coordinates": p}

        sd = np.sqrt(variance).reshape(-1, 2).tolist() if variance is not None else [[0.0, 0.0]] * len(names)
        layers = {
            "stations": (
                "Point",
                [(point(p), n, "station", s[0], s[1], "") for p, n, s in zip(x.tolist(), names, sd, strict=True)],
            ),
            "chain_lines": (
                "LineString",
                [(line(p), k, "side", 0.0, 0.0, "") for p, k in zip(x[ends].tolist(), book["lines"], strict=True)],
            ),
            "detail_points": (
                "Point",
                [
                    (point(p), n, "point", 0.01, 0.01, s)
                    for p, n, s in zip(points.tolist(), labels, source, strict=True)
                ],
            ),
            "offsets": (
                "LineString",
                [
                    (line(p), n, "offset", 0.01, 0.01, s)
                    for p, n, s in zip(np.stack([feet, points], 1).tolist(), labels, source, strict=True)
                ],
            ),
            "detail_lines": ("LineString", [(line(p.tolist()), n, "fence", 0.0, 0.0, "") for n, p in features]),
        }
        with fiona.Env(OGR_SQLITE_SYNCHRONOUS="OFF"):
            for name, (geometry, rows) in layers.items():
                schema = {
                    "geometry": geometry,
                    "properties": {"name": "str", "kind": "str", "sd_x": "float", "sd_y": "float", "source": "str"},
                }
                with fiona.open(
                    stem + ".gpkg", "w", driver="GPKG", layer=name, schema=schema, crs_wkt=wkt, VERSION="1.3"
                ) as sink:
                    sink.writerecords(
                        [
                            {"geometry": g, "properties": {"name": a, "kind": b, "sd_x": c, "sd_y": d, "source": e}}
                            for g, a, b, c, d, e in rows
                        ]
                    )
    if "dxf" in formats:
        import ezdxf

        doc = ezdxf.new("R2010")
        space = doc.modelspace()
        block = doc.blocks.new("PEG")
        block.add_circle((0, 0), 0.5)
        for name in ("STATIONS", "CHAIN_LINES", "POINTS", "OFFSETS", "FENCES"):
            doc.layers.add(name)
        for p, n in zip(x.tolist(), names, strict=True):
            space.add_blockref("PEG", p, {"layer": "STATIONS"})
            space.add_text(n, dxfattribs={"layer": "STATIONS", "insert": p, "height": 1.25})
        for p in x[ends].tolist():
            space.add_line(*p, dxfattribs={"layer": "CHAIN_LINES"})
        for p in points.tolist():
            space.add_point(p, {"layer": "POINTS"})
        for p in np.stack([feet, points], 1).tolist():
            space.add_line(*p, dxfattribs={"layer": "OFFSETS"})
        for _, p in features:
            space.add_lwpolyline(p.tolist(), dxfattribs={"layer": "FENCES"})
        doc.saveas(stem + ".dxf")
    if "pdf" in formats:
        from reportlab.pdfgen import canvas

        sheet = canvas.Canvas(stem + ".pdf", (842, 595))
        k = 500 / max(1.0, float(np.ptp(x, axis=0).max()))

        def to(p):
            return ((p - x.min(0)) * k + 40).tolist()

        for p in to(x[ends]):
            sheet.line(*p[0], *p[1])
        for p in to(points):
            sheet.circle(*p, 0.4, stroke=0, fill=1)
        for p, n in zip(to(x), names, strict=True):
            sheet.drawString(*p, n)
        for _, p in features:
            q = to(p)
            sheet.lines([(*a, *b) for a, b in pairwise(q)])
        sheet.showPage()
        sheet.save()


if __name__ == "__main__":
    sys.exit(main())
