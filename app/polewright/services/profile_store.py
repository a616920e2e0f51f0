"""Keeps profiles as readable JSON files, one each; written atomically, checked, migrated, never silently replaced."""

from __future__ import annotations

import contextlib
import hashlib
import json
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic

from polewright.core.errors import SettingsError
from polewright.services.atomic_file import unused_name, write_atomically
from polewright.services.file_lock import FileLock
from polewright.services.profiles import P, ProfileKind
from polewright.services.regular_file import read_regular
from polewright.words import files

UNSAFE = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True)
class Stored(Generic[P]):
    """A profile as it was read or written: `members` is what the file held, so that a later save can tell who
    changed what."""

    profile: P
    path: Path
    members: dict[str, Any]


@dataclass(frozen=True)
class Loaded(Generic[P]):
    """All profiles of one kind, by name, and sentences about files that could not be used."""

    profiles: tuple[Stored[P], ...]
    messages: tuple[str, ...]

    def named(self, name: str) -> Stored[P] | None:
        """The profile of that name, None where there is none."""
        return next((stored for stored in self.profiles if stored.profile.name == name), None)

    def bare(self) -> tuple[P, ...]:
        """The profiles themselves, by name."""
        return tuple(stored.profile for stored in self.profiles)


class ProfileStore(Generic[P]):
    """The profiles of one kind below `root`; several processes may use it at once."""

    def __init__(self, root: Path, kind: ProfileKind[P]) -> None:
        self._folder = root / kind.folder
        self._kind: ProfileKind[P] = kind

    def load_all(self) -> Loaded[P]:
        """Every profile. A damaged file is set aside under another name and named in `messages`."""
        profiles, messages = [], []
        for path in sorted(self._folder.glob("*.json")):
            try:
                profiles.append(self.load(path))
            except SettingsError as error:
                messages.append(str(error))
        return Loaded(tuple(sorted(profiles, key=lambda stored: stored.profile.name.casefold())), tuple(messages))

    def problem_with(self, path: Path) -> str:
        """Why a profile cannot be used, "" when it can; the file is left alone."""
        try:
            self._stored(path, _content(path))
        except SettingsError as error:
            return str(error) if path.name in str(error) else files.damaged(path.name, str(error))
        return ""

    def _stored(self, path: Path, content: bytes) -> Stored[P]:
        members = self._migrated(_parsed(content), path)
        return Stored(self._kind.from_members(self._bare(members)), path, members)

    def load(self, path: Path) -> Stored[P]:
        """One profile; SettingsError when it cannot be used (a damaged file has been set aside then)."""
        content = _content(path)
        try:
            return self._stored(path, content)
        except _NewerError:
            raise
        except SettingsError as error:
            raise self._set_aside(path, error) from error

    def add(self, profile: P) -> Stored[P]:
        """Store a new profile under a file name of its own; SettingsError when its name is taken or empty."""
        if not profile.name.strip():
            raise SettingsError("A profile needs a name.")
        with self._locked():
            if self.load_all().named(profile.name) is not None:
                raise SettingsError(f"There is a profile named {profile.name!r} already: choose another name.")
            path, number = self._folder / f"{file_stem(profile.name)}.json", 1
            while path.exists():
                number += 1
                path = self._folder / f"{file_stem(profile.name)}-{number}.json"
            return self._write(path, profile)

    def save(self, stored: Stored[P], profile: P) -> Stored[P]:
        """Replace `stored` by `profile`.

        When another process has saved meanwhile, what only one side changed is merged. SettingsError, with the file
        as the other left it, when both changed the same thing to different values.
        """
        with self._locked():
            mine = self._with_format(self._kind.to_members(profile))
            if stored.path.exists():
                theirs = self.load(stored.path).members
                mine = self._merged(stored, mine, theirs)
            return self._write(stored.path, self._kind.from_members(self._bare(mine)))

    def remove(self, stored: Stored[P]) -> None:
        """Delete a profile; harmless when it is gone. SettingsError when another process changed it meanwhile."""
        with self._locked():
            if not stored.path.exists():
                return
            if self.load(stored.path).members != stored.members:
                raise SettingsError(f"{stored.profile.name!r} has been changed by another window: look at it again.")
            try:
                stored.path.unlink()
            except OSError as error:
                raise SettingsError(f"{stored.path.name} cannot be deleted: {error.strerror or error}.") from error

    def _merged(self, stored: Stored[P], mine: dict[str, Any], theirs: dict[str, Any]) -> dict[str, Any]:
        base, merged, both = stored.members, dict(mine), []
        for name in {**theirs, **base}:
            if theirs.get(name) == base.get(name) or theirs.get(name) == mine.get(name):
                continue
            if mine.get(name) == base.get(name):
                merged[name] = theirs.get(name)
            else:
                both.append(name)
        if both:
            raise SettingsError(
                f"{stored.profile.name!r} has been changed by another window at the same time "
                f"({', '.join(sorted(both))}): nothing was saved, look at it again and repeat your change."
            )
        return merged

    def _write(self, path: Path, profile: P) -> Stored[P]:
        members = self._with_format(self._kind.to_members(profile))
        try:
            text = json.dumps(members, indent=2, ensure_ascii=False, allow_nan=False)
            self._kind.from_members(self._bare(json.loads(text)))
            content = (text + "\n").encode("utf-8")
        except (TypeError, ValueError, SettingsError) as error:
            raise SettingsError(f"{profile.name!r} cannot be saved: {str(error).rstrip('.')}.") from error
        try:
            write_atomically(path, content)
        except OSError as error:
            raise SettingsError(
                f"{path.name} cannot be saved in {path.parent}: {error.strerror or error}."
            ) from error
        return Stored(profile, path, json.loads(text))

    def _with_format(self, members: dict[str, Any]) -> dict[str, Any]:
        return {"format": self._kind.format, "version": self._kind.version, **members}

    def _bare(self, members: dict[str, Any]) -> dict[str, Any]:
        return {name: value for name, value in members.items() if name not in ("format", "version")}

    def _migrated(self, members: dict[str, Any], path: Path) -> dict[str, Any]:
        version = members.get("version")
        if members.get("format") != self._kind.format or isinstance(version, bool) or not isinstance(version, int):
            raise SettingsError(f'it is not a profile of the kind "{self._kind.format}"')
        if version > self._kind.version:
            raise _NewerError(f"{path.name} was written by a newer version of this program and is left alone.")
        while version < self._kind.version:
            migrate = self._kind.migrations.get(version)
            if migrate is None:
                raise SettingsError(f"its version {version} is unknown")
            members = {**migrate(self._bare(members)), "format": self._kind.format, "version": version + 1}
            version += 1
        return members

    def _set_aside(self, path: Path, error: SettingsError) -> SettingsError:
        """Rename a damaged file, so that nothing overwrites it; the error to raise."""
        aside = unused_name(path, "damaged")
        problem = f"{path.name} is damaged ({str(error).rstrip('.')})"
        try:
            path.rename(aside)
        except OSError:
            return SettingsError(f"{problem} and was left out.")
        return SettingsError(f"{problem}: it was set aside as {aside.name} in {path.parent}.")

    @contextlib.contextmanager
    def _locked(self) -> Iterator[None]:
        """One process at a time between reading and writing."""
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            lock = FileLock(self._folder / ".lock")
            lock.take(wait=True)
        except OSError as error:
            raise SettingsError(f"Profiles cannot be saved in {self._folder}: {error.strerror or error}.") from error
        try:
            yield
        finally:
            lock.free()


class _NewerError(SettingsError):
    """A file of a later version: sound, but not for us."""


def _content(path: Path) -> bytes:
    try:
        return read_regular(path)
    except OSError as error:
        raise SettingsError(f"{path.name} cannot be read: {error.strerror or error}.") from error


def _parsed(content: bytes) -> dict[str, Any]:
    try:
        members = json.loads(content.decode("utf-8"), parse_constant=_refuse)
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        raise SettingsError("it is not JSON") from error
    if not isinstance(members, dict):
        raise SettingsError("it is not a JSON object")
    return members


def _refuse(name: str) -> None:
    raise ValueError(f"{name} is not a JSON number")


def file_stem(name: str) -> str:
    """A file name every platform can hold: ASCII letters and digits of `name`, else a digest of it."""
    ascii_text = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii").lower()
    stem = UNSAFE.sub("-", ascii_text).strip("-")[:60]
    reserved = stem in ("con", "prn", "aux", "nul") or re.fullmatch(r"(com|lpt)\d", stem) is not None
    if stem and not reserved:
        return stem
    return f"profile-{hashlib.sha256(name.encode()).hexdigest()[:8]}"
