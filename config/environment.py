"""Typed readers of environment variables, so that a mistyped setting is named instead of guessed at."""

import os
import secrets
from pathlib import Path

TRUE_WORDS = {"1", "true", "yes", "on"}
FALSE_WORDS = {"0", "false", "no", "off", ""}


class SettingError(ValueError):
    """An environment variable holds a value that it cannot mean."""


def env_text(name: str, default: str = "") -> str:
    """Return the variable as text."""
    return os.environ.get(name, default)


def env_bool(name: str, *, default: bool = False) -> bool:
    """Return the variable as a yes or a no, and refuse anything else by name."""
    word = os.environ.get(name)
    if word is None:
        return default
    if word.lower() in TRUE_WORDS:
        return True
    if word.lower() in FALSE_WORDS:
        return False
    raise SettingError(f"{name} is {word!r}; allowed are 1 and 0")


def env_int(name: str, default: int, *, least: int | None = None) -> int:
    """Return the variable as a whole number, and refuse anything else, and less than the least, by name."""
    word = os.environ.get(name)
    if word is None:
        return default
    try:
        number = int(word)
    except ValueError:
        raise SettingError(f"{name} is {word!r}; allowed is a whole number") from None
    if least is not None and number < least:
        raise SettingError(f"{name} is {word!r}; allowed is a whole number from {least}")
    return number


def env_list(name: str, default: tuple[str, ...] = ()) -> list[str]:
    """Return the variable's comma-separated words."""
    word = os.environ.get(name)
    return list(default) if word is None else [part.strip() for part in word.split(",") if part.strip()]


def secret_key(folder: Path) -> str:
    """Return COILBOOK_SECRET_KEY, or a key made once for this machine and kept in `folder`."""
    if key := env_text("COILBOOK_SECRET_KEY"):
        return key
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    path = folder / "secret_key"
    try:
        with os.fdopen(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(50))
    except FileExistsError:
        pass
    return path.read_text()
