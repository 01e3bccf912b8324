"""What ``import pegline`` promises."""

import subprocess
import sys

import pytest

import pegline


def test_the_public_names_are_few_and_can_be_imported():
    few = ["Book", "Survey", "areas", "find_peg", "prepare", "read", "reduce", "set_out", "write"]
    assert pegline.__all__ == few
    for name in pegline.__all__:
        assert callable(getattr(pegline, name))


def test_an_unknown_name_is_told():
    with pytest.raises(AttributeError, match="nonsense"):
        pegline.nonsense  # noqa: B018


def test_importing_pegline_and_asking_for_help_import_no_heavy_library():
    # What a library costs at import is paid by every command: --help must stay close to a bare argparse program.
    script = (
        "import sys, contextlib, io\n"
        "from pegline.cli import main\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n"
        "    main(['--help'])\n"
        "heavy = {'numpy', 'scipy', 'ezdxf', 'fiona', 'geopandas', 'pyproj', 'yaml'}\n"
        "print(sorted({name.split('.')[0] for name in sys.modules} & heavy))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"
