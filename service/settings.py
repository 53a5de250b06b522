"""Settings, read once: from the environment (``HOUSEBAND_...``) and from a TOML file. The environment wins.

The file is the one named in ``HOUSEBAND_CONFIG``, or ``houseband.toml`` in the working folder if it is there.
A setting that cannot be used stops the service at start with its name, not in the night with a traceback.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, Literal
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, SecretStr, ValidationError, field_validator
from pydantic_settings import (
    BaseSettings,
    PydanticBaseSettingsSource,
    SettingsConfigDict,
    TomlConfigSettingsSource,
)

from service.errors import SetupError

CONFIG_VARIABLE = "HOUSEBAND_CONFIG"
DEFAULT_CONFIG = "houseband.toml"


class TextGatewaySettings(BaseModel):
    """How one text becomes one web request. ``{to}``, ``{text}`` and ``{key}`` are filled in."""

    model_config = ConfigDict(extra="forbid")

    url: str
    method: Literal["GET", "POST", "PUT"] = "POST"
    body: Literal["json", "form", "none"] = "json"
    fields: dict[str, str] = {}
    headers: dict[str, SecretStr] = {}
    timeout_s: float = 10.0
    id_pointer: str | None = None
    """Where a JSON answer keeps the gateway's id of the message, by which its receipts name it."""


class ModemSettings(BaseModel):
    """A cellular modem on this machine. Texts go by it when there is no gateway, or when the gateway fails."""

    model_config = ConfigDict(extra="forbid")

    device: Path
    speed: int = 115_200
    timeout_s: float = 45.0
    valid_min: int = Field(default=60, ge=5)
    """How long the network tries to reach a phone that is off."""
    receive: bool = True
    """Whether texts that come to the modem's number are read, and taken out of its memory."""


class WebhookSettings(BaseModel):
    """A machine that is told of everything that wakes people, and of its end."""

    model_config = ConfigDict(extra="forbid")

    url: SecretStr
    secret: SecretStr
    body: Literal["json", "cap"] = "json"
    timeout_s: float = 10.0


class LampSettings(BaseModel):
    """A lamp or siren that listens to a topic of our broker."""

    model_config = ConfigDict(extra="forbid")

    topic: str
    danger_topic: str | None = None
    on: str = "on"
    off: str = "off"
    retained: bool = False
    timeout_s: float = 10.0


class WideSettings(BaseModel):
    """Addresses of further services, in the form of the library that the extra ``wide`` brings."""

    model_config = ConfigDict(extra="forbid")

    urls: list[SecretStr] = []
    schemes: list[str] = []
    """Schemes that are allowed beyond json, xml, form and mqtt."""
    hosts_inside: list[str] = []
    """Hosts of the farm's own network that may be reached."""
    timeout_s: float = 20.0


class MailSettings(BaseModel):
    """The SMTP server that mails go through."""

    model_config = ConfigDict(extra="forbid")

    host: str
    port: int = 587
    sender: str
    username: str | None = None
    password: SecretStr | None = None
    security: Literal["starttls", "tls", "none"] = "starttls"
    timeout_s: float = 20.0


class TextFormSettings(BaseModel):
    """How a text gateway's messages to us look: JSON Pointers, or the names of form fields."""

    model_config = ConfigDict(extra="forbid")

    each: str = ""
    """Where the list of messages is; "" where the whole is one message, or a list of them."""
    sender: str = "/from"
    text: str = "/text"
    id: str = "/id"
    time: str | None = None
    time_form: Literal["iso 8601", "seconds", "milliseconds"] = "iso 8601"
    receipt_id: str = "/id"
    receipt_status: str = "/status"
    receipts: dict[str, Literal["delivered", "failed", "on its way"]] = {}
    """What the gateway's words for the state of a text mean."""


class TextInboundSettings(TextFormSettings):
    """How the text gateway calls us, and how it proves that it is the gateway."""

    body: Literal["json", "form"] = "json"
    proof: Literal["signature", "shared secret", "password"] = "signature"
    secret: SecretStr | None = None
    """Without one, nothing comes in."""
    header: str = "X-Signature"
    """Which header holds the signature, or the shared secret."""
    encoding: Literal["hex", "base64"] = "hex"
    prefix: str = ""
    time_header: str | None = None
    """Where a time is signed along with the body."""
    tolerance_s: float = Field(default=300.0, gt=0, le=3600)


class TextPollingSettings(TextFormSettings):
    """How texts are fetched from the gateway, by a farm that it cannot call."""

    url: str
    receipts_url: str | None = None
    headers: dict[str, SecretStr] = {}
    since: Literal["iso 8601", "seconds", "milliseconds", "id"] = "iso 8601"
    """What ``{since}`` in the address stands for."""
    every_s: float = Field(default=5.0, ge=1, le=300)
    timeout_s: float = Field(default=10.0, gt=0)


class Settings(BaseSettings):
    """Everything that can be set from outside."""

    model_config = SettingsConfigDict(env_prefix="HOUSEBAND_", env_nested_delimiter="__", extra="forbid")

    database_url: str = "sqlite+aiosqlite:///houseband.db"
    farm: str = Field(default="farm", pattern=r"^[a-z0-9][a-z0-9-]{0,31}$")
    topic_prefix: str = Field(default="houseband", pattern=r"^[A-Za-z0-9_-]{1,32}$")
    sources_file: Path | None = None

    broker_host: str | None = None
    """Without a broker, readings come by HTTP only."""
    broker_port: int = 1883
    broker_username: str | None = None
    broker_password: SecretStr | None = None
    broker_tls: bool = False

    listen_host: str = "127.0.0.1"
    listen_port: int = 8000
    listen_beyond_this_machine: bool = False
    """There is no sign-in yet. Say yes only where something else decides who may connect."""
    known_as: list[str] = []
    """Further host names under which browsers may reach the pages."""
    public_url: str | None = None

    text_gateway: TextGatewaySettings | None = None
    modem: ModemSettings | None = None
    voice_gateway: TextGatewaySettings | None = None
    mail: MailSettings | None = None
    webhook: WebhookSettings | None = None
    lamp: LampSettings | None = None
    wide: WideSettings | None = None
    text_inbound: TextInboundSettings | None = None
    text_polling: TextPollingSettings | None = None

    outside_watch_url: SecretStr | None = None
    """Called every five minutes while all is well, so that something off the farm notices when the calls stop."""

    sweep_every_s: float = Field(default=5.0, gt=0)
    log_as_json: bool = False

    clock_factor: float = Field(default=1.0, ge=1.0)
    clock_anchor_wall_ms: int = 0
    clock_anchor_farm_ms: int = 0

    @field_validator("outside_watch_url")
    @classmethod
    def _is_web_address(cls, value: SecretStr | None) -> SecretStr | None:
        parts = None if value is None else urlsplit(value.get_secret_value())
        if parts is not None and not (parts.scheme in {"http", "https"} and parts.hostname):
            raise ValueError("must be a whole http or https address")
        return value

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,
        dotenv_settings: PydanticBaseSettingsSource,
        file_secret_settings: PydanticBaseSettingsSource,
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        del dotenv_settings, file_secret_settings
        file = Path(os.environ.get(CONFIG_VARIABLE, DEFAULT_CONFIG))
        return (init_settings, env_settings, TomlConfigSettingsSource(settings_cls, toml_file=file))


def _refuse_unknown_variables() -> None:
    """A misspelt variable would be ignored in silence, and with it, say, the broker."""
    known = {f"HOUSEBAND_{name}".upper() for name in Settings.model_fields} | {CONFIG_VARIABLE}
    unknown = sorted(
        name for name in os.environ if name.startswith("HOUSEBAND_") and name.partition("__")[0] not in known
    )
    if unknown:
        raise SetupError(f"no such setting: {', '.join(unknown)}")


def load_settings(**given: Any) -> Settings:
    """Read the settings.

    Raises:
        SetupError: a setting is missing or wrong; the message names each, without its value.
    """
    _refuse_unknown_variables()
    named = os.environ.get(CONFIG_VARIABLE)
    if named and not Path(named).is_file():
        raise SetupError(f"{CONFIG_VARIABLE} names {named}, and there is no such file")
    try:
        settings = Settings(**given)
    except ValidationError as error:
        wrong = "; ".join(f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in error.errors())
        raise SetupError(f"settings: {wrong}") from None
    except ValueError as error:
        raise SetupError(f"settings file: {error}") from error
    beyond = settings.listen_host not in {"127.0.0.1", "localhost", "::1"}
    if beyond and not settings.listen_beyond_this_machine:
        raise SetupError(
            "listen_host reaches beyond this machine and there is no sign-in yet: "
            "keep 127.0.0.1, or set listen_beyond_this_machine where something else decides who may connect"
        )
    return settings
