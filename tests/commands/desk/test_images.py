"""Images of pages: a TIFF is shown as a browser can, and a photo of a telephone comes into the folder whole."""

from __future__ import annotations

import shutil
from io import BytesIO

import httpx2
import pytest
from builders.own_loop import wait_for
from builders.paths import SAMPLES
from PIL import Image

from pegline.commands.desk import folder as desk_folder
from pegline.commands.desk.book_tree import tree_of

from .conftest import open_desk, run_desk
from .test_entering import YARD

PAGE = SAMPLES / "house-plot.png"


def send_image(desk, name, data, media="image/png"):
    headers = {"cookie": desk.post_key(), "origin": f"http://{desk.host}", "content-type": media}
    return httpx2.post(f"http://{desk.host}/scan/{name}", content=data, headers=headers)


def get_image(desk, name):
    return httpx2.get(f"http://{desk.host}/scan/{name}", headers={"cookie": desk.post_key()})


def sixteen_bits(image):
    """Return an image with 256 times its greys."""
    return Image.frombytes("I;16", image.size, b"".join(bytes([0, grey]) for grey in image.convert("L").tobytes()))


@pytest.mark.parametrize("mode", ["1", "L", "P", "RGB", "RGBA", "CMYK", "I;16"])
@pytest.mark.parametrize("compression", ["raw", "tiff_lzw"])
def test_a_scan_in_tiff_is_shown_with_its_greys(tmp_path, mode, compression):
    """Pillow writes the TIFF, as scanners do, and reads what the desk makes of it."""
    page = Image.open(PAGE).convert("RGB").resize((300, 200))
    scan = sixteen_bits(page) if mode == "I;16" else page.convert(mode)
    scan.save(tmp_path / "page.tif", compression=compression)
    with run_desk(tmp_path) as desk:
        answer = get_image(desk, "page.tif")
    assert answer.headers["content-type"] == "image/png"
    seen = Image.open(BytesIO(answer.content)).convert("L")
    wanted = (page if mode == "I;16" else scan.convert("RGB")).convert("L")
    assert seen.size == wanted.size
    pairs = zip(seen.tobytes(), wanted.tobytes(), strict=True)
    assert max(abs(one - other) for one, other in pairs) <= 2


@pytest.mark.filterwarnings("ignore::UserWarning:PIL")
def test_a_tiff_that_is_broken_or_far_too_large_is_not_shown(tmp_path, monkeypatch):
    from pegline.commands.desk import folder

    (tmp_path / "broken.tif").write_bytes(b"II*\0" + b"x" * 40)
    Image.open(PAGE).save(tmp_path / "page.tif")
    assert folder.png_of_tiff(tmp_path / "broken.tif") is None
    monkeypatch.setattr(folder, "MAX_PIXELS", 1000)
    assert folder.png_of_tiff(tmp_path / "page.tif") is None


def test_an_image_that_is_sent_is_kept_whole_and_never_over_another(tmp_path):
    data = PAGE.read_bytes()
    with run_desk(tmp_path) as desk:
        first, second = (send_image(desk, "page 1.png", data) for _ in range(2))
        told = send_image(desk, "photo.heic", data)  # named as the camera likes, but what it is counts
        back = get_image(desk, "page 1.png")
    assert [answer.status_code for answer in (first, second, told)] == [201, 201, 201]
    assert [answer.json()["name"] for answer in (first, second, told)] == ["page 1.png", "page 1 2.png", "photo.png"]
    assert told.json()["scans"] == ["page 1 2.png", "page 1.png", "photo.png"]
    assert back.content == data
    assert sorted(each.name for each in tmp_path.iterdir()) == ["page 1 2.png", "page 1.png", "photo.png"]


def test_an_image_that_is_none_or_too_large_leaves_nothing(tmp_path, monkeypatch):
    from pegline.errors import UsageError

    async def parts(*data):
        for part in data:
            yield part

    monkeypatch.setattr(desk_folder, "MAX_IMAGE_BYTES", 100)
    room = desk_folder.Folder(tmp_path)
    for data in ((b"no image",), (b"GIF8", b"x" * 200), (b"RIFF1234WAVE",), ()):
        with pytest.raises(UsageError):
            wait_for(room.take_image("page.gif", parts(*data)))
    assert list(tmp_path.iterdir()) == []
    assert wait_for(room.take_image("page.gif", parts(b"GI", b"F89a"))) == "page.gif"


def test_a_photo_of_a_telephone_becomes_the_next_page(tmp_path, new_page):
    """The page of the book is photographed on the page, typed from, and its spot kept."""
    (tmp_path / "yard.yaml").write_text(YARD)
    with run_desk(tmp_path / "yard.yaml") as desk:
        page = open_desk(new_page(360, 740, has_touch=True, is_mobile=True), desk)
        page.locator(".turn [data-side=sheet]").tap()
        page.click("#tab-scan")
        page.locator(".scan summary").click()
        assert page.locator(".scan .photos button:visible").count() == 2
        camera = page.locator(".scan input[type=file][capture]")
        assert camera.get_attribute("capture") == "environment"
        camera.set_input_files(PAGE)
        page.wait_for_function("() => document.querySelector('.scan-holder img').naturalWidth > 0")
        page.wait_for_timeout(1200)  # what is booked is on the disk within a second
    assert tree_of((tmp_path / "yard.yaml").read_text())["pages"] == {"1": "house-plot.png"}
    assert (tmp_path / "house-plot.png").read_bytes() == PAGE.read_bytes()


def test_a_sketch_is_drawn_on_a_photo_that_was_just_taken(tmp_path, new_page):
    shutil.copy(SAMPLES / "house-plot.yaml", tmp_path / "plot.yaml")
    with run_desk(tmp_path / "plot.yaml") as desk:
        page = open_desk(new_page(), desk)
        page.click("#tab-sketch")
        page.locator(".sketch input[type=file]:not([capture])").set_input_files(PAGE)
        page.wait_for_selector(".sketch-sheet image[href='/scan/house-plot.png']", state="attached")
