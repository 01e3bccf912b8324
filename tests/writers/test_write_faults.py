"""What the system or a library says of a file that cannot be written becomes a sentence that says what to do."""

import errno
import os
from collections import namedtuple

import pytest

from pegline.errors import OutputError
from pegline.writers.write_faults import SAYINGS, faults_as_output_errors, write_refusal

Usage = namedtuple("Usage", "total used free")


@pytest.mark.parametrize("number", SAYINGS)
def test_a_fault_of_the_system_names_the_file_and_what_to_do(tmp_path, number):
    with pytest.raises(OutputError) as told, faults_as_output_errors(tmp_path / "plot.csv"):
        raise OSError(number, os.strerror(number))

    assert str(told.value).startswith(f"{tmp_path / 'plot.csv'}: cannot be written: ")
    assert "{" not in str(told.value)
    assert any(word in str(told.value) for word in ("--out", "run it again", "give the book"))


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT])
def test_of_a_full_disk_the_folder_is_named(tmp_path, number):
    for place in (tmp_path, tmp_path / "plot.csv"):
        with pytest.raises(OutputError, match=f"disk of {tmp_path} is full"), faults_as_output_errors(place):
            raise OSError(number, os.strerror(number))


@pytest.mark.parametrize("error", [OSError(errno.EFAULT, "Bad address"), OSError("Bad address")])
def test_a_fault_without_a_saying_is_told_in_the_systems_words(tmp_path, error):
    says = "cannot be written: Bad address; run it again"
    with pytest.raises(OutputError, match=says), faults_as_output_errors(tmp_path / "plot.csv"):
        raise error


@pytest.mark.parametrize(
    ("complaint", "said"),
    [
        ("disk I/O error", "disk I/O error"),
        ("\n first line \nsecond", "first line"),
        ("", "RuntimeError"),
        ("x" * 300, "x" * 200),
    ],
)
def test_a_librarys_complaint_is_passed_on_in_one_line(tmp_path, complaint, said):
    told = write_refusal(tmp_path / "plot.gpkg", RuntimeError(complaint))

    assert isinstance(told, OutputError)
    assert str(told) == f"plot.gpkg: cannot be written: {said}; run it again, or choose another folder with --out"


@pytest.mark.parametrize(("free", "full"), [(2**18 - 1, True), (2**18, False)])
def test_where_hardly_anything_is_free_the_disk_is_full(tmp_path, monkeypatch, free, full):
    monkeypatch.setattr("shutil.disk_usage", lambda path: Usage(2**40, 2**40 - free, free))

    told = write_refusal(tmp_path / "plot.gpkg", RuntimeError("disk I/O error"))

    assert (getattr(told, "errno", None) == errno.ENOSPC) == full


def test_of_a_folder_that_is_gone_the_library_is_believed(tmp_path):
    assert isinstance(write_refusal(tmp_path / "gone" / "plot.gpkg", RuntimeError("odd")), OutputError)
