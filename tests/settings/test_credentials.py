"""Secrets that the service manager hands over: `credential:NAME` in a key that names a file."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_settings import REAL, checked, edited, lines
from matwarden.sinks.push_terms import PushTarget

PHONE = ('url = "file:pushes.txt"', 'url_file = "credential:push-phone"')


def test_a_credential_is_the_file_that_was_handed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the service it is `secret_NAME` in $CREDENTIALS_DIRECTORY (systemd.exec(5), LoadCredential=)."""
    (tmp_path / "secret_push-phone").write_text("json://127.0.0.1\n")
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))
    settings = checked(tmp_path, edited(REAL, PHONE)).settings
    assert settings is not None
    assert settings.push is not None
    assert settings.push.targets == (PushTarget("paper", url_file=f"{tmp_path}/secret_push-phone"),)


def test_a_credential_that_was_not_handed_over_is_a_problem(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The service says which file to make."""
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))
    (told,) = lines(checked(tmp_path, edited(REAL, PHONE)))
    assert told.startswith("push target paper: url_file: found a credential 'push-phone'")
    assert "Make /etc/matwarden/credentials/push-phone" in told


def test_outside_the_service_it_is_not_looked_at(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A keeper's own check of the file is not spoilt by a secret that only the service sees; it is told."""
    monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
    outcome = checked(tmp_path, edited(REAL, PHONE))
    assert outcome.problems == ()
    assert any("only the service is handed /etc/matwarden/credentials/push-phone" in text for text in outcome.warnings)


@pytest.mark.parametrize("name", ["", "../shadow", "a/b", ".hidden"])
def test_a_credential_is_a_name_not_a_path(tmp_path: Path, name: str) -> None:
    """Nothing outside the directory can be named."""
    text = edited(REAL, (PHONE[0], f'url_file = "credential:{name}"'))
    (told,) = lines(checked(tmp_path, text))
    assert "the name of one file" in told
