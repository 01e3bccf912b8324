"""The drawing opened by a CAD program of other people, where Debian's librecad is installed."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import ezdxf
import numpy as np
import pypdfium2
import pytest
from builders.drawn import house

from pegline.plan.model import Options
from pegline.writers.dxf import drawing as dxf

MILLIMETRES = 4  # $INSUNITS

pytestmark = pytest.mark.skipif(shutil.which("librecad") is None, reason="apt-get install librecad")


def picture(path: Path) -> np.ndarray:
    """Return the dark dots of a drawing as the program prints it."""
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "HOME": str(path.parent)}
    command = ["librecad", "dxf2pdf", "-a", path.name]
    subprocess.run(command, cwd=path.parent, env=environment, check=True, capture_output=True)
    page = pypdfium2.PdfDocument(path.with_suffix(".pdf"))[0]
    scale = min(1.0, 1000 / max(page.get_size()))
    return page.render(scale=scale, grayscale=True).to_numpy().squeeze() < 200


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
def test_the_drawing_fills_the_page_of_another_program(version, tmp_path):
    path = tmp_path / "plan.dxf"
    dxf.write(house().plan(Options(dxf_version=version)), path)
    # A copy: the program takes a metre for a metre of paper, and lays sheets over the plan. The notes go: their width
    # is up to its fonts.
    doc = ezdxf.readfile(path)
    for note in doc.modelspace().query("TEXT[layer=='NOTES']"):
        doc.modelspace().delete_entity(note)
    if version != "R12":
        doc.header["$INSUNITS"] = MILLIMETRES
        for name in doc.layout_names():
            if name != "Model":
                doc.layout(name).delete_all_entities()
    doc.saveas(path)

    dark = picture(path)

    rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    assert max(np.ptp(rows) / dark.shape[0], np.ptp(columns) / dark.shape[1]) > 0.9
    # The plot is 57 m wide and 59.5 m high: it has its shape on the page too.
    assert np.ptp(rows) / np.ptp(columns) == pytest.approx(59.5 / 57.0, rel=0.06)
    assert 0.01 < dark.mean() < 0.3


@pytest.mark.parametrize(
    "version", ["R12", "R2010", *(pytest.param(each, marks=pytest.mark.long) for each in ("R2000", "R2018"))]
)
def test_another_program_opens_the_very_file(version, tmp_path):
    path = tmp_path / "plan.dxf"
    dxf.write(house().plan(Options(dxf_version=version)), path)

    # How it takes metres and sheets is its own affair; that it reads the file shows in what it draws.
    assert picture(path).any()


def test_what_does_not_plot_is_not_printed_by_another_program(tmp_path):
    plan = house().plan(Options(dxf_version="R12"))
    dxf.write(plan, tmp_path / "plan.dxf")
    doc = ezdxf.readfile(tmp_path / "plan.dxf")
    for entity in list(doc.modelspace()):
        silent = entity.dxf.layer in plan.layers and not plan.layers[entity.dxf.layer].plots
        if silent:
            doc.modelspace().delete_entity(entity)
    doc.saveas(tmp_path / "without.dxf")

    assert (picture(tmp_path / "plan.dxf") == picture(tmp_path / "without.dxf")).all()
