"""Modules are loaded without looking for garbage, and none before a verdict needs it."""

import gc
import importlib
import subprocess
import sys

import pytest

from verifier.loading import uncollected


def test_garbage_is_looked_for_again_when_all_is_loaded_and_when_loading_failed():
    with uncollected():
        assert not gc.isenabled()
    assert gc.isenabled()
    with pytest.raises(ModuleNotFoundError), uncollected():
        importlib.import_module("verifier.no_such_room")
    assert gc.isenabled()


def test_what_was_loaded_is_looked_through_no_more(monkeypatch):
    before = gc.get_freeze_count()
    with uncollected():
        pass
    assert gc.get_freeze_count() == before
    monkeypatch.delitem(sys.modules, "verifier.freed_memory", raising=False)
    with uncollected():
        importlib.import_module("verifier.freed_memory")
    assert gc.get_freeze_count() > before
    gc.unfreeze()


def test_a_verdict_needs_nothing_of_what_draws_the_page():
    asked = "import sys, verifier.checking; print(sorted({'PIL', 'jinja2', 'fast_simplification'} & set(sys.modules)))"
    said = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"
