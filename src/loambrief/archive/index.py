"""The index: what is searched. It can always be made again from the log and the cards.

SQLite in WAL mode. Rows of an erased record are overwritten (``secure_delete``), the
full-text index is merged, and the file is written anew without its free pages.
"""

import json
import os
import sqlite3
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from loambrief.archive.disk import FILE_MODE, Hook, nothing
from loambrief.archive.log import LogLine
from loambrief.errors import ArchiveFault

NAME = "index.sqlite"
SIDE_FILES = ("-wal", "-shm", "-journal")
VERSION = "1"
_SCHEMA = """
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE lines (seq INTEGER PRIMARY KEY, time TEXT NOT NULL, op TEXT NOT NULL,
    digest TEXT NOT NULL UNIQUE, card TEXT, number TEXT, revision INTEGER, client TEXT,
    erased INTEGER NOT NULL DEFAULT 0);
CREATE INDEX lines_number ON lines (number);
CREATE INDEX lines_client ON lines (client);
CREATE TABLE numbers (number TEXT, revision INTEGER, series TEXT, serial INTEGER,
    seq INTEGER NOT NULL, status TEXT NOT NULL, PRIMARY KEY (number, revision));
CREATE INDEX numbers_series ON numbers (series, serial);
CREATE TABLE holds (target TEXT PRIMARY KEY, seq INTEGER NOT NULL);
CREATE TABLE clients (client TEXT PRIMARY KEY, name TEXT NOT NULL, fold TEXT NOT NULL);
CREATE TABLE records (seq INTEGER PRIMARY KEY, number TEXT, revision INTEGER, client TEXT,
    client_name TEXT, client_fold TEXT, farm TEXT, field TEXT, field_fold TEXT, crop TEXT,
    crop_fold TEXT, case_id TEXT, date TEXT, valid_until TEXT, inputs TEXT);
CREATE INDEX records_number ON records (number, revision);
CREATE INDEX records_case ON records (case_id);
CREATE INDEX records_client ON records (client_fold);
CREATE TABLE actions (seq INTEGER, rank INTEGER, id TEXT, title TEXT, fold TEXT, material TEXT,
    material_fold TEXT);
CREATE INDEX actions_seq ON actions (seq);
CREATE TABLE dues (seq INTEGER, due TEXT, what TEXT);
CREATE INDEX dues_due ON dues (due);
CREATE TABLE files (seq INTEGER, role TEXT, name TEXT, sha256 TEXT, size INTEGER,
    stored INTEGER);
CREATE INDEX files_sha256 ON files (sha256);
CREATE INDEX files_seq ON files (seq);
CREATE VIRTUAL TABLE words USING fts5 (text, tokenize = "unicode61 remove_diacritics 2");
"""
TABLES = ("lines", "numbers", "holds", "clients", "records", "actions", "dues", "files")
OF_A_RECORD = ("records", "actions", "dues", "files")
"""Tables whose rows go when a record is erased."""


def fold(text: str | None) -> str:
    """Text for comparing: no case, no accents, single spaces."""
    plain = text or ""
    if not plain.isascii():
        parts = unicodedata.normalize("NFKD", plain)
        plain = "".join(c for c in parts if not unicodedata.combining(c))
    return " ".join(plain.casefold().split())


class Index:
    """The index of one archive.

    Parameters
    ----------
    path : Path or None
        Its file; None keeps it in memory.
    hook : callable
        See :class:`loambrief.archive.disk.Disk`.
    """

    def __init__(self, path: Path | None, hook: Hook = nothing):
        self.path, self.hook = path, hook
        if path is None:
            self.db = sqlite3.connect(":memory:", isolation_level=None)
        else:
            flags = os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC
            os.close(os.open(path, flags, FILE_MODE))  # for its mode; the side files take it
            self.db = sqlite3.connect(path, isolation_level=None, timeout=30)
        self.db.execute("PRAGMA secure_delete = ON")
        self.db.execute("PRAGMA temp_store = MEMORY")
        if path is not None:
            self.db.execute("PRAGMA journal_mode = WAL")
            self.db.execute("PRAGMA synchronous = NORMAL")

    def close(self) -> None:
        self.db.close()

    def query(self, sql: str, values: Iterable[object] = ()) -> list[tuple]:
        return self.db.execute(sql, tuple(values)).fetchall()

    def ready(self) -> bool:
        """True if it has this version's tables."""
        try:
            return self.meta().get("version") == VERSION
        except sqlite3.OperationalError as error:
            if "no such table" in str(error):
                return False
            raise

    def meta(self) -> dict[str, str]:
        return dict(self.db.execute("SELECT key, value FROM meta"))

    def fill(self, entries: Iterable[tuple[LogLine, Mapping | None]]) -> None:
        """Make the tables and take in every line, all or nothing."""
        self.hook("index:fill")
        with self._transaction():
            for statement in _SCHEMA.split(";\n"):
                if statement.strip():
                    self.db.execute(statement)
            self.db.execute("INSERT INTO meta VALUES ('version', ?)", (VERSION,))
            for line, card in entries:
                self._take(line, card)
            self.hook("index:filled")

    def take(self, line: LogLine, card: Mapping | None) -> None:
        """Take in one more line."""
        self.hook("index:begin")
        with self._transaction():
            self._take(line, card)
            self.hook("index:commit")

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self.db.execute("BEGIN IMMEDIATE")
        with self.db:
            yield

    def _take(self, line: LogLine, card: Mapping | None) -> None:
        public = line.public
        number, revision, client = (public.get(k) for k in ("number", "revision", "client"))
        execute = self.db.execute
        execute("INSERT INTO lines VALUES (?, ?, ?, ?, ?, ?, ?, ?, 0)",
                (line.seq, line.time, line.op, line.digest, line.card, number, revision, client))
        if line.op in ("init", "settings"):
            execute("INSERT OR REPLACE INTO meta VALUES ('settings', ?)",
                    (json.dumps(public["settings"], sort_keys=True),))
        elif line.op in ("issue", "supersede"):
            self._close(number, "superseded")
            execute("INSERT INTO numbers VALUES (?, ?, ?, ?, ?, 'issued')",
                    (number, revision, public.get("series"), public.get("serial"), line.seq))
        elif line.op == "withdraw":
            self._close(number, "withdrawn")
        elif line.op == "hold":
            execute("INSERT OR REPLACE INTO holds VALUES (?, ?)", (target(public), line.seq))
        elif line.op == "release":
            execute("DELETE FROM holds WHERE target = ?", (target(public),))
        elif line.op == "erase":
            self._forget(public["erases"])
        if card is not None:
            self._read_card(line, card)
        for key, value in (("seq", line.seq), ("head", line.digest), ("start", line.start),
                           ("end", line.end)):
            execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (key, str(value)))

    def _close(self, number: str | None, status: str) -> None:
        self.db.execute("UPDATE numbers SET status = ? WHERE number = ? AND status = 'issued'",
                        (status, number))

    def _read_card(self, line: LogLine, card: Mapping) -> None:
        execute = self.db.execute
        who = card.get("client") or {}
        name, client = who.get("name"), line.public.get("client")
        if name and client:
            execute("INSERT OR REPLACE INTO clients VALUES (?, ?, ?)", (client, name, fold(name)))
        if line.op in ("issue", "supersede"):
            field = card.get("field") or {}
            execute(
                "INSERT INTO records VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (line.seq, line.public["number"], line.public["revision"], client, name,
                 fold(name), card.get("farm"), field.get("name"),
                 fold(f"{field.get('name') or ''} {field.get('id') or ''}"), card.get("crop"),
                 fold(card.get("crop")), card.get("case_id"), card.get("date"),
                 card.get("valid_until"), card.get("inputs")))
            for action in card.get("actions", ()):
                execute("INSERT INTO actions VALUES (?, ?, ?, ?, ?, ?, ?)",
                        (line.seq, action.get("rank"), action.get("id"), action.get("title"),
                         fold(f"{action.get('id') or ''} {action.get('title') or ''}"),
                         action.get("material"), fold(action.get("material"))))
            for due in card.get("dues", ()):
                execute("INSERT INTO dues VALUES (?, ?, ?)",
                        (line.seq, due.get("due"), due.get("what")))
        for file in card.get("files", ()):
            execute("INSERT INTO files VALUES (?, ?, ?, ?, ?, ?)",
                    (line.seq, file.get("role"), file.get("name"), file.get("sha256"),
                     file.get("size"), int(bool(file.get("stored", True)))))
        text = card.get("text")
        if text:
            execute("INSERT INTO words (rowid, text) VALUES (?, ?)", (line.seq, text))

    def _forget(self, seqs: Iterable[int]) -> None:
        execute = self.db.execute
        for seq in seqs:
            execute("UPDATE lines SET erased = 1 WHERE seq = ?", (seq,))
            execute("UPDATE numbers SET status = 'erased' WHERE seq = ?", (seq,))
            for table in OF_A_RECORD:
                execute(f"DELETE FROM {table} WHERE seq = ?", (seq,))
            execute("DELETE FROM words WHERE rowid = ?", (seq,))
        execute("DELETE FROM clients WHERE client NOT IN (SELECT client FROM lines WHERE "
                "client IS NOT NULL AND erased = 0 AND op IN ('issue', 'supersede', 'add'))")

    def uses(self, sha256: str) -> bool:
        """True if a card that is not erased is this object, or names it."""
        return bool(self.query(
            "SELECT 1 FROM lines WHERE card = ? AND erased = 0 UNION ALL "
            "SELECT 1 FROM files WHERE sha256 = ? AND stored = 1 LIMIT 1", (sha256, sha256)))

    def scrub(self) -> None:
        """Leave nothing of deleted rows in the file.

        Raises
        ------
        ArchiveFault
            Another process is reading just now.
        """
        self.hook("index:scrub")
        if self.ready():
            self.db.execute("INSERT INTO words (words) VALUES ('optimize')")
        self.hook("index:vacuum")
        self.db.execute("VACUUM")
        self.hook("index:truncate")
        busy = self.query("PRAGMA wal_checkpoint(TRUNCATE)")[0][0]
        if self.path is not None and busy:
            raise ArchiveFault(f"{self.path} is being read by another process; try again")

    def dump(self) -> dict[str, list[tuple]]:
        """Content of every table, for comparing."""
        content = {}
        for table in TABLES:
            content[table] = sorted(self.query(f"SELECT * FROM {table}"), key=repr)
        content["words"] = self.query("SELECT rowid, text FROM words ORDER BY rowid")
        content["meta"] = self.query("SELECT key, value FROM meta ORDER BY key")
        return content


def target(public: Mapping) -> str:
    """What a hold is on: a number if one is given, else a client."""
    return f"number {public['number']}" if public.get("number") else f"client {public['client']}"


def remove_files(folder: Path) -> None:
    """Remove the index with its side files."""
    for ending in ("", *SIDE_FILES):
        Path(f"{folder / NAME}{ending}").unlink(missing_ok=True)
