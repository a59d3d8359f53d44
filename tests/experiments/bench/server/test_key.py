"""The key is random, the owner's alone, and lasts a week."""
import os
import time

from experiments.bench.server import key as keys
from experiments.bench.server.key import FILE, LENGTH, LASTS_s, key, same


def test_it_is_kept_for_the_next_start_and_can_be_renewed(tmp_path, monkeypatch):
    monkeypatch.setattr(keys, "cache_directory", lambda: tmp_path / "x")
    first = key()
    assert len(first) == LENGTH and key() == first and (tmp_path / FILE).stat().st_mode & 0o777 == 0o600
    second = key(fresh=True)
    assert second != first and key() == second
    old = time.time() - LASTS_s - 1.0
    os.utime(tmp_path / FILE, (old, old))
    assert key() not in (first, second)


def test_a_key_that_others_can_read_or_have_put_there_is_not_taken(tmp_path, monkeypatch):
    monkeypatch.setattr(keys, "cache_directory", lambda: tmp_path / "x")
    first = key()
    (tmp_path / FILE).chmod(0o644)
    assert key() != first
    (tmp_path / FILE).write_text("short")
    assert len(key()) == LENGTH
    monkeypatch.setattr(keys, "cache_directory", lambda: tmp_path / "no" / "such" / "place")
    assert len(key()) == LENGTH


def test_sameness():
    assert same("a", "a") and not same("a", "b") and not same("", "a") and not same("ä\udcff", "a")
