"""A sample of single mistakes in every shipped table: almost all are noticed. `python -m tests.mutations` makes many more."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.mutations import Mistake, mistakes, noticed, usual
from xasm.target.finding import table_paths

PER = 2  # mistakes of each sort in each table
# Sorts of which now and then one is beyond all checks: equal values under two kinds, a row without a value of its own.
NOT_ALWAYS = {"another kind", "another origin", "another order", "another time"}


@pytest.fixture(autouse=True)
def nothing_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is remembered of so many tables goes with the test."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


@pytest.mark.parametrize("name", table_paths())
def test_single_mistakes_are_noticed(name: str) -> None:
    known = usual(name)
    made = list(mistakes(name, PER))
    assert len(made) >= 12
    assert len({mistake.sort for mistake in made}) >= 6
    missed = [mistake for mistake in made if noticed(mistake, name, known) is None]
    assert [mistake[:4] for mistake in missed if mistake.sort not in NOT_ALWAYS] == []
    assert len(missed) <= 2


def test_a_table_without_a_mistake_is_not_noticed() -> None:
    name = next(iter(table_paths()))
    made = next(mistakes(name, 1))
    right = Mistake(made.sort, made.line, made.before, made.before, made.text.replace(made.after, made.before))
    assert noticed(right, name, usual(name)) is None
    assert noticed(made, name, usual(name)) is not None
