"""What is asked of a store to see whether it is whole, and the little that can be mended.

Touches disk. What is mended is no record and no bundle: a cache, and files that nothing
ever named.
"""

from __future__ import annotations

from pathlib import Path

from harness.store import sqlite_standing
from harness.store.bundles import Bundles
from harness.store.files import Files
from harness.store.sqlite_file import SqliteFile


class Health:
    """How whole the files of a store are. Made by ``Store.health``."""

    def __init__(self, folder: Path, file: SqliteFile, *, files: Files) -> None:
        self._folder, self._file, self._files = folder, file, files

    def faults_of_file(self) -> tuple[str, ...]:
        """Return what SQLite itself finds wrong with its file, looking through all of it."""
        return self._file.faults()

    def standing_faults(self, run: str) -> tuple[str, ...]:
        """Return where the cache of how *run* stands is not what its records say."""
        return sqlite_standing.differences(self._file, run)

    def counted(self, run: str) -> int:
        """Return the number of the last record of *run* that was kept and counted; 0: unknown."""
        return sqlite_standing.counted(self._file, run)

    def forget_standing(self, run: str) -> None:
        """Drop the cache of how *run* stands: it is made again from the records."""
        with self._file.writing():
            self._file.ask("forget_standing", (run,))

    def bundle_folders(self) -> tuple[str, ...]:
        """Return the names of the folders with bundles: each that of a run, if all is well."""
        names = self._files.names(self._folder / "bundles")
        return tuple(name for name in names if self._files.names(self._folder / "bundles" / name))

    def strangers(self) -> tuple[str, ...]:
        """Return the paths of what lies among the bundles and is none of the store's files."""
        folder = self._folder / "bundles"
        own = (".tar.zst", ".part")
        found = [folder / name for name in self._files.names(folder)]
        within = (each / name for each in found for name in self._files.names(each))
        strange = [each for each in found if not each.is_dir()]
        strange += [path for path in within if path.is_dir() or not path.name.endswith(own)]
        return tuple(path.relative_to(self._folder).as_posix() for path in strange)

    def unfinished(self, run: str) -> tuple[str, ...]:
        """Return the paths of bundles of *run* that were never finished."""
        return Bundles(self._folder, run=run, files=self._files).unfinished()

    def remove_unfinished(self, run: str) -> None:
        """Remove the bundles of *run* that were never finished; no record ever named them."""
        for path in self.unfinished(run):
            self._files.remove(self._folder / path)
