"""Where the plan, the secrets, the memory and the sockets lie."""

from pathlib import Path

from pydantic import AliasChoices, Field
from pydantic_settings import BaseSettings, SettingsConfigDict


class Places(BaseSettings):
    """Each place: as given, else from the environment (RELAYD_PLAN ...), else the usual one."""

    model_config = SettingsConfigDict(
        env_prefix="RELAYD_", env_ignore_empty=True, populate_by_name=True, frozen=True
    )

    plan: Path = Path("/etc/relayd/relayd.toml")
    credentials: Path = Field(
        default=Path("/etc/relayd/credentials"),
        # The second is set by systemd for a service that loads credentials.
        validation_alias=AliasChoices("RELAYD_CREDENTIALS", "CREDENTIALS_DIRECTORY"),
    )
    state: Path = Path("/var/lib/relayd")
    run: Path = Path("/run/relayd")
