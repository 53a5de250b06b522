"""Settings: from the environment and a file, and every mistake said by its name."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from service.errors import SetupError
from service.settings import CONFIG_VARIABLE, load_settings

pytestmark = pytest.mark.pure


@pytest.fixture(autouse=True)
def _clean(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """An empty folder and none of our variables."""
    for name in [name for name in os.environ if name.startswith("HOUSEBAND_")]:
        monkeypatch.delenv(name)
    monkeypatch.chdir(tmp_path)


def test_nothing_needs_to_be_set() -> None:
    settings = load_settings()
    assert (settings.farm, settings.broker_host, settings.listen_host) == ("farm", None, "127.0.0.1")
    assert settings.text_gateway is None


def test_a_file_in_the_working_folder_is_read(tmp_path: Path) -> None:
    (tmp_path / "houseband.toml").write_text(
        'farm = "alder"\n[mail]\nhost = "mail.example.org"\nsender = "a@b.c"\n'
    )
    settings = load_settings()
    assert settings.farm == "alder"
    assert settings.mail is not None
    assert (settings.mail.host, settings.mail.port) == ("mail.example.org", 587)


def test_the_file_that_is_named_is_read_instead(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "houseband.toml").write_text('farm = "alder"\n')
    (tmp_path / "other.toml").write_text('farm = "birch"\n')
    monkeypatch.setenv(CONFIG_VARIABLE, "other.toml")
    assert load_settings().farm == "birch"


def test_a_named_file_that_is_not_there_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(CONFIG_VARIABLE, "nowhere.toml")
    with pytest.raises(SetupError, match=r"nowhere\.toml"):
        load_settings()


def test_the_environment_beats_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = 'farm = "alder"\nbroker_port = 1\n[text_gateway]\nurl = "http://file.example/"\ntimeout_s = 3\n'
    (tmp_path / "houseband.toml").write_text(file)
    monkeypatch.setenv("HOUSEBAND_FARM", "birch")
    monkeypatch.setenv("HOUSEBAND_TEXT_GATEWAY__URL", "http://environment.example/")
    settings = load_settings()
    assert (settings.farm, settings.broker_port) == ("birch", 1)
    assert settings.text_gateway is not None
    assert (settings.text_gateway.url, settings.text_gateway.timeout_s) == ("http://environment.example/", 3)


WRONG = {
    "FARM": "Alder Creek!",
    "TOPIC_PREFIX": "house/band",
    "BROKER_PORT": "hush-hush",
    "BROKER_TLS": "hush-hush",
    "LISTEN_PORT": "hush-hush",
    "SWEEP_EVERY_S": "-77",
    "CLOCK_FACTOR": "0.123",
    "KNOWN_AS": "hush-hush",
    "TEXT_GATEWAY__METHOD": "hush-hush",
    "TEXT_GATEWAY__SURPRISE": "hush-hush",
    "MAIL__SECURITY": "hush-hush",
    "MAIL__PORT": "hush-hush",
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_setting_is_named_and_its_value_is_not(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(f"HOUSEBAND_{name}", WRONG[name])
    with pytest.raises(SetupError) as caught:
        load_settings()
    said = str(caught.value)
    assert name.lower().replace("__", ".") in said
    assert WRONG[name] not in said


def test_every_wrong_setting_is_named_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOUSEBAND_BROKER_PORT", "many")
    monkeypatch.setenv("HOUSEBAND_SWEEP_EVERY_S", "0")
    with pytest.raises(SetupError, match=r"(?s)(?=.*broker_port)(?=.*sweep_every_s)"):
        load_settings()


def test_a_name_in_the_file_that_does_not_exist_is_said(tmp_path: Path) -> None:
    (tmp_path / "houseband.toml").write_text('brokr_host = "hush-hush"\n')
    with pytest.raises(SetupError, match="brokr_host") as caught:
        load_settings()
    assert "hush-hush" not in str(caught.value)


def test_a_file_that_is_not_toml_is_said(tmp_path: Path) -> None:
    (tmp_path / "houseband.toml").write_text('broker_password = "hush-hush\n')
    with pytest.raises(SetupError, match="settings file") as caught:
        load_settings()
    assert "hush-hush" not in str(caught.value)


def test_secrets_do_not_show(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOUSEBAND_BROKER_PASSWORD", "hush-hush")
    gateway = '{"url": "http://g.example/", "headers": {"Authorization": "hush-hush"}}'
    monkeypatch.setenv("HOUSEBAND_TEXT_GATEWAY", gateway)
    settings = load_settings()
    assert "hush-hush" not in repr(settings)
    assert settings.broker_password is not None
    assert settings.broker_password.get_secret_value() == "hush-hush"


@pytest.mark.parametrize(
    "url", ["ftp://far.example/hush-hush", "file:///hush-hush", "far.example/hush-hush", "https:///x"]
)
def test_the_outside_watch_is_called_at_a_web_address_that_does_not_show(url: str) -> None:
    with pytest.raises(SetupError, match="outside_watch_url") as caught:
        load_settings(outside_watch_url=url)
    assert "hush-hush" not in str(caught.value)
    settings = load_settings(outside_watch_url="https://far.example/hush-hush")
    assert "hush-hush" not in repr(settings)


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1"])
def test_this_machine_may_always_be_listened_on(host: str) -> None:
    assert load_settings(listen_host=host).listen_host == host


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.20", "farm.example.org"])
def test_beyond_this_machine_is_refused_unless_somebody_says_so(host: str) -> None:
    with pytest.raises(SetupError, match="listen_beyond_this_machine"):
        load_settings(listen_host=host)
    assert load_settings(listen_host=host, listen_beyond_this_machine=True).listen_host == host


def test_a_misspelt_variable_is_refused_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOUSEBAND_BROKR_HOST", "10.1.1.1")
    monkeypatch.setenv("HOUSEBAND_TEXT_GATEWAY__URL", "http://127.0.0.1/send")
    with pytest.raises(SetupError, match=r"^no such setting: HOUSEBAND_BROKR_HOST$"):
        load_settings()
