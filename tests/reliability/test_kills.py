"""Runs killed at any step or moment: no file is cut, a mixed set is known as such, the next run mends it."""

import os
import signal
import sys
import time
from random import Random

import pytest
from builders.figures import keep
from builders.sound_book import ON_A_GRID

from pegline.commands.verify import states_of_files
from pegline.readers import parse_book
from pegline.survey import input_of_writers, publish_drawn, reduce
from pegline.writers.file_list import sha256_of
from pegline.writers.publish import LOCK, WORK

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")

FORMATS = ("csv", "json", "gpkg", "html")
#: What the interpreter tells of before it does it: each is a step at which a run may be killed.
STEPS = ("open", "os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "sqlite3.connect", "shutil.rmtree")


class Writer:
    """Writes one of two states of a survey into a folder, whole, or until it is killed."""

    def __init__(self, texts, folder):
        surveys = [reduce(parse_book(text.encode(), "weir.yaml")) for text in texts]
        self.states = [(input_of_writers(survey, FORMATS), survey) for survey in surveys]
        self.hashes = []
        for number in range(len(texts)):
            begin = time.perf_counter()
            files = self.write(number, folder / f"{number}")
            self.seconds = time.perf_counter() - begin
            self.hashes.append({path.name: sha256_of(path) for path in files})
        assert self.hashes[0].keys() == self.hashes[1].keys()
        assert sum(self.hashes[0][name] != self.hashes[1][name] for name in self.hashes[0]) >= 4

    def write(self, number, folder):
        """Write a state whole."""
        return publish_drawn(*self.states[number], folder, FORMATS)

    def write_in_child(self, number, folder, *, step=None, after=None):
        """Write in a child that is killed at a step or after seconds; return whether it was."""
        child = os.fork()
        if child == 0:
            status = 70
            try:
                if step is not None:
                    _die_at(step)
                self.write(number, folder)
                status = 0
            finally:
                os._exit(status)
        if after is not None:
            time.sleep(after)
            os.kill(child, signal.SIGKILL)
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        assert status in (0, -signal.SIGKILL)
        return status != 0

    def judge(self, folder):
        """Return which state a folder is in, or 'mixed'; every file is whole, and of a mixed set that is known."""
        now = {path.name: sha256_of(path) for path in folder.iterdir() if path.name in self.hashes[0]}
        assert now.keys() == self.hashes[0].keys()
        for name, found in now.items():
            assert found in (self.hashes[0][name], self.hashes[1][name]), f"{name} is damaged"
        for number, state in enumerate(self.hashes):
            if now == state:
                return number
        faults = [fault for state in states_of_files(folder, None) for fault in state.faults]
        assert any("mixed" in fault for fault in faults), faults
        return "mixed"


def _die_at(step):
    """Kill this process at its n-th step."""
    count = 0

    def hook(event, arguments):
        nonlocal count
        if event in STEPS and (event != "open" or WORK in str(arguments[0]) or LOCK in str(arguments[0])):
            if count == step:
                os.kill(os.getpid(), signal.SIGKILL)
            count += 1

    sys.addaudithook(hook)


@pytest.fixture(scope="module")
def writer(memory):
    return Writer((ON_A_GRID, ON_A_GRID.replace("54.23", "54.24")), memory)


@pytest.fixture
def folder(memory, request):
    return memory / str(abs(hash(request.node.name)))


def mended(writer, number, folder):
    """Run again, and look that nothing but the new set is left."""
    writer.write(number, folder)
    assert writer.judge(folder) == number
    assert not [path for path in folder.iterdir() if path.name.startswith(".")]


@pytest.mark.parametrize("stride", [2, pytest.param(1, marks=pytest.mark.long)])
def test_a_run_killed_at_every_step_of_publishing(writer, folder, stride):
    states, step = [], 0
    writer.write(0, folder)
    while writer.write_in_child(1, folder, step=step):
        states.append(writer.judge(folder))
        mended(writer, 0, folder)
        step += stride
    mended(writer, 1, folder)

    assert {0, "mixed"} <= set(states)  # before and amid the files are moved
    if stride == 1:
        assert 1 in states  # and after
        found = f"0 damaged, {states.count('mixed')} mixed and known, all mended by the next run"
        keep("G13", "kills at each step of publishing four formats", found, len(states))


@pytest.mark.parametrize("kills", [20, pytest.param(2000, marks=pytest.mark.long)])
def test_a_run_killed_at_any_moment(writer, folder, kills):
    draw, states, done = Random(kills), [], 0
    writer.write(0, folder)
    for number in range(kills):
        new = 1 - number % 2
        while not writer.write_in_child(new, folder, after=draw.uniform(0, 1.1) * writer.seconds):
            done += 1  # it was over before
            mended(writer, new, folder)
            new = 1 - new
        states.append(writer.judge(folder))
        mended(writer, 1 - number % 2, folder)

    assert len(states) == kills
    if kills > 20:
        found = f"0 damaged, {states.count('mixed')} mixed and known, all mended by the next run"
        keep("G13", "kills at random moments", found, kills)
