"""All known decoders: written in code, and described by profiles."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, cast

from livecube.edges.profile_files import installed_profiles, profile_folder, user_profiles
from livecube.errors import UsageError
from livecube.installed import installed
from livecube.profiles.decoder import decoder_class

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from livecube.decoding import Decoder
    from livecube.profiles.values import Profile

__all__ = ["GROUP", "known_decoders"]

GROUP: Final = "livecube.decoders"


def _say_nothing(sentence: str) -> None:
    pass


def known_decoders(
    profiles: Iterable[Profile] = (),
    folder: Path | None = None,
    complain: Callable[[str], None] = _say_nothing,
) -> dict[str, type[Decoder]]:
    """All decoders by name, in the order in which they are asked whether they claim a cube.

    First ``profiles`` (named on the command line), then those in the user's folder (``folder``
    instead of the usual one), then decoders in code, then installed profiles. Of two with the same
    name the first is used. ``complain`` gets a sentence about each that cannot be used, and about
    each that is hidden by another of its name.

    Raises :class:`~livecube.errors.ProfileError` if an installed profile is wrong.
    """
    folder = folder or profile_folder()
    found: dict[str, type[Decoder]] = {}
    mine: set[str] = set()
    for profile in (*profiles, *user_profiles(folder, complain)):
        if profile.name in mine:
            complain(f"{folder} holds several profiles called {profile.name!r}; the first counts")
            continue
        try:
            found[profile.name] = decoder_class(profile)
        except UsageError as error:
            complain(f"{error}; your profile {profile.name!r} is left out")
            continue
        mine.add(profile.name)
    for name, decoder in _installed(complain):
        if name in mine:
            complain(
                f"your profile {name!r} in {folder} replaces the installed decoder of this name"
            )
        found.setdefault(name, decoder)
    return found


def _installed(complain: Callable[[str], None]) -> Iterator[tuple[str, type[Decoder]]]:
    for entry in installed(GROUP):
        try:
            yield entry.name, cast("type[Decoder]", entry.load())
        except Exception as error:  # any error in one must not stop the others
            complain(
                f"decoder {entry.name!r} ({entry.value}) cannot be loaded: {error}; repair or "
                "uninstall it"
            )
    for profile in installed_profiles():
        yield profile.name, decoder_class(profile)
