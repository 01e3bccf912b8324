"""A disk that takes only so much: every format fails with an output error, and what stood there stays."""

from __future__ import annotations

import subprocess
import sys
import textwrap

import pytest
from builders.paths import ROOT

pytest.importorskip("resource", reason="limits on files are of POSIX systems")

BYTES = {
    "gpkg": (2_000, 100_000, 250_000),
    "json": (100, 4_000),
    "html": (100, 4_000),
    "csv": (100,),
    "geojson": (100, 4_000),
    "shp": (50, 150, 400),
    "sld": (100,),
    "geoparquet": (100, 3_000),
}


@pytest.mark.parametrize(("name", "limit"), [(name, limit) for name, limits in BYTES.items() for limit in limits])
def test_a_limit_on_the_size_of_files_is_an_output_error(tmp_path, name, limit):
    old = tmp_path / f"weir.{name}"
    old.write_text("old")
    script = f"""
        import resource, signal, sys
        from pathlib import Path
        sys.path.insert(0, {str(ROOT / "tests")!r})
        from builders import weir_survey as records
        from pegline.errors import OutputError
        from pegline.writers.publish import publish
        import fiona, shapely
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))
        try:
            publish(records.on_grid(), Path({str(tmp_path)!r}), "weir", [{name!r}])
        except OutputError as error:
            sys.exit(73)
    """

    run = subprocess.run([sys.executable, "-B", "-c", textwrap.dedent(script)], check=False, capture_output=True)

    assert run.returncode == 73, run.stderr.decode()
    assert [path.name for path in tmp_path.iterdir()] == [old.name]
    assert old.read_text() == "old"
