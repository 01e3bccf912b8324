"""A clock that jumps, by a day or over a year, ends no book's time, lets none hang, and frees or holds no lock."""

import time
from itertools import count

import pytest
from builders.book import book_text
from builders.networks import random_plot

from pegline.commands.batch import workers
from pegline.commands.batch.tasks import Settings, Task
from pegline.errors import BusyError
from pegline.writers.publish import hold_folder

DAY = 86_400.0
LIMITS = Settings(("json",), 60.0, 4096 * 2**20)
BRIEF = Settings(("json",), 0.01, LIMITS.memory)


@pytest.fixture(params=[DAY, -DAY], ids=["forward", "backward"])
def jumping(request, monkeypatch):
    """Set the clock by a day, one way, each time that anybody looks at it."""
    looks, real = count(1), time.time
    monkeypatch.setattr(time, "time", lambda: real() + request.param * next(looks))


@pytest.mark.filterwarnings("ignore")
def test_the_time_of_a_book_is_not_told_by_a_clock_that_jumps(tmp_path, jumping):
    texts = {f"plot-{n}": book_text(random_plot(n, stations=4, details=1)) for n in range(6)}
    texts["slow"] = book_text(random_plot(1, stations=60, details=60))  # it takes a second or so
    tasks = []
    for name, text in texts.items():
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
        limits = BRIEF if name == "slow" else LIMITS
        tasks.append(Task(f"{name}.yaml", f"{tmp_path / name}.yaml", f"{tmp_path}", limits))

    found = {task.stem: outcome for task, outcome in workers.run_tasks(tasks, 2, lambda task: None)}

    assert {name for name, outcome in found.items() if outcome["status"] == 0} == set(texts) - {"slow"}
    assert "not done in 0.01 s" in found["slow"]["why"][0]


def test_a_lock_has_no_age(tmp_path, jumping):
    with hold_folder(tmp_path):
        time.time()
        with pytest.raises(BusyError), hold_folder(tmp_path):
            pass
    with hold_folder(tmp_path):
        assert time.time() != time.time()
