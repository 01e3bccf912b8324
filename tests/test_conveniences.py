"""What makes the library handy at a prompt and in a notebook."""

import re
from xml.etree.ElementTree import fromstring

import pytest
from builders.paths import ROOT

import pegline
from pegline.errors import OpenError, UsageError

BOOK = ROOT / "samples" / "how-to" / "house-by-edge-and-depth.yaml"


@pytest.fixture(scope="module")
def survey():
    return pegline.reduce(BOOK)


def test_a_survey_is_shown_in_a_line(survey):
    assert repr(survey) == "<Survey 'house-by-edge-and-depth.yaml': PASSED: 2 checks; 4 stations, 4 points>"
    assert "\n" not in repr(survey)


def test_a_notebook_shows_the_verdict_and_the_plan(survey):
    shown = survey._repr_html_()
    root = fromstring(shown)

    assert "PASSED: 2 checks" in shown
    assert "not a boundary survey" in shown
    assert len(root.findall(".//{http://www.w3.org/2000/svg}svg") or root.findall(".//svg")) == 1


@pytest.mark.parametrize("path", [BOOK, str(BOOK)])
def test_a_path_is_read_and_reduced(path, survey):
    assert repr(pegline.reduce(path)) == repr(survey)


def test_what_is_no_book_is_told():
    with pytest.raises(TypeError, match="a book or the path of one is expected, not int"):
        pegline.reduce(3)
    with pytest.raises(OpenError):
        pegline.reduce("nowhere.yaml")


@pytest.mark.parametrize("formats", ["csv", ["csv"], "csv,json"])
def test_formats_may_be_one_text(formats, survey, tmp_path):
    paths = pegline.write(survey, tmp_path, formats=formats)

    assert {path.suffix for path in paths} == ({".csv", ".json"} if "," in formats else {".csv"})


def test_an_unknown_format_is_told(survey, tmp_path):
    with pytest.raises(UsageError, match="no format 'gpgk'"):
        pegline.write(survey, tmp_path, formats="gpgk")


@pytest.mark.parametrize("url", ["nonsense", "martian://host/name"])
def test_what_is_no_url_of_a_database_is_told(url, survey):
    pytest.importorskip("sqlalchemy")

    with pytest.raises(UsageError, match=re.escape(f"'{url}' is no URL of a database; write postgresql://")):
        survey.to_postgis(url)


def test_a_url_reaches_the_database(survey):
    pytest.importorskip("sqlalchemy")
    pytest.importorskip("psycopg")

    with pytest.raises(pegline.errors.OutputError, match="the database does not take house-by-edge-and-depth"):
        survey.to_postgis("postgresql://nobody@localhost:1/nothing?connect_timeout=1")
