"""Small typed readers of the process environment that stop loudly on nonsense.

Each reader takes the name and the value to use when the name is unset or empty. What does not
parse raises `ImproperlyConfigured` with the name and the way out: a setting that was mistyped
must never fall back to its default in silence. The value itself is not repeated for secrets.
"""

import ipaddress
import os
import secrets
import zoneinfo
from pathlib import Path
from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured

YES = {"1", "true", "yes", "on"}
NO = {"0", "false", "no", "off"}
SECRET_LENGTH = 50  # Django's deployment check asks for at least 50 characters.


def text(name: str, default: str = "") -> str:
    """The value stripped of blanks, or the default where nothing is set."""
    return os.environ.get(name, "").strip() or default


def flag(name: str, default: bool = False) -> bool:
    """Yes or no: 1/0, true/false, yes/no, on/off in any case."""
    value = text(name).lower()
    if not value:
        return default
    if value in YES or value in NO:
        return value in YES
    raise ImproperlyConfigured(f"{name} must be 1 or 0 (or true/false, yes/no, on/off), not {value!r}.")


def number(name: str, default: int, least: int = 0, most: int = 2**31 - 1) -> int:
    """A whole number between `least` and `most`, both included."""
    value = text(name)
    if not value:
        return default
    try:
        result = int(value)
    except ValueError:
        raise ImproperlyConfigured(f"{name} must be a whole number, not {value!r}.") from None
    if not least <= result <= most:
        raise ImproperlyConfigured(f"{name} must lie between {least} and {most}, not {result}.")
    return result


def words(name: str, default: tuple[str, ...] = ()) -> list[str]:
    """A comma-separated list without blanks and empty entries."""
    return [word.strip() for word in text(name).split(",") if word.strip()] or list(default)


def choice(name: str, default: str, allowed: tuple[str, ...]) -> str:
    """One of the allowed words."""
    value = text(name, default)
    if value not in allowed:
        raise ImproperlyConfigured(f"{name} must be one of {', '.join(allowed)}, not {value!r}.")
    return value


def folder(name: str, default: Path) -> Path:
    """An absolute path; a relative one would change its meaning with the directory of the caller."""
    value = text(name)
    if not value:
        return default
    path = Path(value)
    if not path.is_absolute():
        raise ImproperlyConfigured(f"{name} must be an absolute path, not {value!r}.")
    return path


def time_zone(name: str, default: str) -> str:
    """A name that the time zone database knows."""
    value = text(name, default)
    if value not in zoneinfo.available_timezones():
        raise ImproperlyConfigured(f"{name} must be a time zone such as Atlantic/Reykjavik, not {value!r}.")
    return value


def origins(name: str) -> list[str]:
    """Comma-separated origins: scheme and host, nothing behind them."""
    values = words(name)
    for value in values:
        parts = urlsplit(value)
        if parts.scheme not in ("http", "https") or not parts.netloc or parts.path or parts.query:
            raise ImproperlyConfigured(f"{name} takes origins such as https://example.org, not {value!r}.")
    return values


def is_loopback(host: str) -> bool:
    """Whether a host name of ALLOWED_HOSTS can only mean this machine."""
    host = host.strip("[]").lower()
    if host == "localhost" or host.endswith(".localhost"):
        return not host.startswith(".") or host == ".localhost"
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def private_folder(path: Path) -> Path:
    """The folder, made if need be, closed to other users of the machine."""
    path.mkdir(mode=0o700, parents=True, exist_ok=True)
    return path


def secret(name: str, local: bool, store: Path) -> str:
    """The signing secret: given, or (for a local site only) made once and kept in `store`."""
    value = text(name)
    if value:
        if len(value) < SECRET_LENGTH or len(set(value)) < 5:
            raise ImproperlyConfigured(f"{name} must have at least {SECRET_LENGTH} varied characters.")
        return value
    if not local:
        raise ImproperlyConfigured(f"{name} must be set when ALLOWED_HOSTS names more than this machine.")
    return kept_secret(store)


def kept_secret(store: Path) -> str:
    """Read the kept secret, or make it; two processes that start at once end with the same one."""
    private_folder(store.parent)
    draft = store.with_name(f"{store.name}.{os.getpid()}.{secrets.token_hex(4)}")
    if not store.exists():
        with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as handle:
            handle.write(secrets.token_urlsafe(64))
        try:
            # A hard link appears complete or not at all, and fails if another process was first.
            os.link(draft, store)
        except FileExistsError:
            pass
        finally:
            draft.unlink()
    value = store.read_text().strip()
    if len(value) < SECRET_LENGTH:
        raise ImproperlyConfigured(f"{store} holds no usable secret: delete it and a new one is made.")
    return value
