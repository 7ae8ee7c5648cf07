"""The catalogue: an index of the archive's logs and results kept from earlier, in SQLite or PostgreSQL.

It holds nothing that cannot be had again from the plain files. A SQLite catalogue that is damaged or of
another version is made anew without a word. Import this module only where a catalogue is used: it loads
SQLAlchemy.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from acquisition.errors import OutsideWorldFailed, WrongUsage
from acquisition.records import LogEntry

VERSION = 1

_WAIT_MS = 5000
_WRITERS_LOCK = 0x626F78686F6C64
"""Number of PostgreSQL's advisory lock that our writers take in turn."""

_PRAGMAS = (f"busy_timeout={_WAIT_MS}", "journal_mode=WAL", "synchronous=NORMAL")
_DAMAGE = ("malformed", "not a database", "no such table", "no such column", "disk image", "has no column")

_METADATA = sa.MetaData()
_VERSIONS = sa.Table("boxhold_version", _METADATA, sa.Column("user_version", sa.Integer, primary_key=True))
_LOGS = sa.Table(
    "boxhold_logs",
    _METADATA,
    sa.Column("box", sa.Text, primary_key=True),
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("stamp", sa.Text, nullable=False),
    sa.Column("content_hash", sa.Text, nullable=False),
    sa.Column("setup", sa.Text),
    sa.Column("sealed", sa.Text, nullable=False),
    sa.Column("started_utc", sa.Text),
    sa.Column("rows", sa.BigInteger, nullable=False),
    sa.Column("error", sa.Text),
)
_RESULTS = sa.Table(
    "boxhold_results",
    _METADATA,
    sa.Column("fingerprint", sa.Text, primary_key=True),
    sa.Column("code_version", sa.Text, primary_key=True),
    sa.Column("what", sa.Text, primary_key=True),
    sa.Column("text", sa.Text, nullable=False),
)
Result = TypeVar("Result")


class Catalogue:
    """Index and kept results at one place.

    Parameters
    ----------
    place
        Path of the SQLite file, or address of a PostgreSQL database.

    Raises
    ------
    WrongUsage
        The address is neither.
    OutsideWorldFailed
        The database cannot be reached, or its driver is not installed.
    """

    def __init__(self, place: Path | str) -> None:
        self._file = place if isinstance(place, Path) else None
        url = sa.URL.create("sqlite", database=str(place)) if isinstance(place, Path) else _address(place)
        self._where = url.render_as_string(hide_password=True)
        self._engine = _engine(url, self._where)
        self._writer = self._engine.execution_options(write=True)
        self._do(_prepare)

    def entries(self) -> tuple[LogEntry, ...]:
        """All logs the catalogue knows, by box and name."""
        query = sa.select(_LOGS).order_by(_LOGS.c.box, _LOGS.c.name)
        rows = self._do(lambda connection: connection.execute(query).all(), write=False)
        return tuple(LogEntry(**{**row._asdict(), "sealed": tuple(json.loads(row.sealed))}) for row in rows)

    def update(self, changed: Iterable[LogEntry], gone: Sequence[tuple[str, str]]) -> None:
        """Put entries in, in place of older ones of the same log, and take away those of ``gone`` (box, name)."""
        rows = [{**vars(entry), "sealed": json.dumps(entry.sealed)} for entry in changed]

        def work(connection: sa.Connection) -> None:
            for box, name in gone:
                connection.execute(sa.delete(_LOGS).where(_LOGS.c.box == box, _LOGS.c.name == name))
            if rows:
                connection.execute(_upsert(connection, _LOGS), rows)

        self._do(work)

    def result(self, fingerprint: str, code_version: str, what: str) -> str | None:
        """Text kept under these three words, or None."""
        query = sa.select(_RESULTS.c.text).where(
            _RESULTS.c.fingerprint == fingerprint, _RESULTS.c.code_version == code_version, _RESULTS.c.what == what
        )
        text: str | None = self._do(lambda connection: connection.execute(query).scalar(), write=False)
        return text

    def keep_result(self, fingerprint: str, code_version: str, what: str, text: str) -> None:
        """Keep a text under three words, in place of an older one."""
        row = {"fingerprint": fingerprint, "code_version": code_version, "what": what, "text": text}
        self._do(lambda connection: connection.execute(_upsert(connection, _RESULTS), row))

    def _do(self, work: Callable[[sa.Connection], Result], *, write: bool = True) -> Result:
        """Do work in one transaction; a damaged file of our own is made anew and the work done once more."""
        try:
            return self._once(work, write)
        except SQLAlchemyError as error:
            if self._file is None or not _is_damage(error):
                raise self._failed(error) from None
        self._make_anew(self._file)
        try:
            return self._once(work, write)
        except SQLAlchemyError as error:
            raise self._failed(error) from None

    def _once(self, work: Callable[[sa.Connection], Result], write: bool) -> Result:
        with (self._writer if write else self._engine).begin() as connection:
            return work(connection)

    def _make_anew(self, file: Path) -> None:
        for end in ("", "-wal", "-shm"):
            try:
                file.with_name(file.name + end).unlink(missing_ok=True)
            except OSError as error:
                raise OutsideWorldFailed(f"{file} is damaged and cannot be deleted ({error.strerror}).") from None
        try:
            self._once(_prepare, True)
        except SQLAlchemyError as error:
            raise self._failed(error) from None

    def _failed(self, error: SQLAlchemyError) -> OutsideWorldFailed:
        cause = str(error.orig if isinstance(error, DBAPIError) else error).strip().splitlines()
        return OutsideWorldFailed(f"the catalogue {self._where} cannot be used ({cause[0] if cause else 'no reason'}).")


def _address(text: str) -> sa.URL:
    try:
        url = sa.make_url(text)
    except ArgumentError:
        raise WrongUsage("the catalogue's address must look like postgresql://user@host/database.") from None
    if url.get_backend_name() != "postgresql":
        raise WrongUsage("the catalogue's address must begin with postgresql://; without one a SQLite file is used.")
    return url.set(drivername="postgresql+psycopg")


def _engine(url: sa.URL, where: str) -> sa.Engine:
    try:
        # One connection a piece of work: no open file is left behind, in whatever thread it was.
        engine = sa.create_engine(url, poolclass=NullPool)
    except ImportError:
        raise OutsideWorldFailed(
            f"the catalogue {where} needs a driver; install it with: pip install 'boxhold[postgresql]'."
        ) from None
    if url.get_backend_name() == "sqlite":
        event.listen(engine, "connect", _open_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    else:
        event.listen(engine, "begin", _begin_postgresql)
    return engine


def _open_sqlite(connection: Any, _record: Any) -> None:
    # The driver's own transactions neither roll back tables nor wait when a reader turns writer.
    connection.isolation_level = None
    for pragma in _PRAGMAS:
        connection.execute(f"PRAGMA {pragma}").close()


def _begin_sqlite(connection: sa.Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE" if connection.get_execution_options().get("write") else "BEGIN")


def _begin_postgresql(connection: sa.Connection) -> None:
    if connection.get_execution_options().get("write"):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITERS_LOCK})")


def _prepare(connection: sa.Connection) -> None:
    """Tables of this version; those of another version are thrown away first."""
    _VERSIONS.create(connection, checkfirst=True)
    found = connection.execute(sa.select(_VERSIONS.c.user_version)).scalars().all()
    if found and found != [VERSION]:
        _METADATA.drop_all(connection)
        found = []
    _METADATA.create_all(connection)
    if not found:
        connection.execute(sa.insert(_VERSIONS), {"user_version": VERSION})


def _is_damage(error: SQLAlchemyError) -> bool:
    return isinstance(error, DBAPIError) and any(word in str(error.orig) for word in _DAMAGE)


def _upsert(connection: sa.Connection, table: sa.Table) -> Any:
    insert = (sqlite if connection.dialect.name == "sqlite" else postgresql).insert(table)
    keys = [column.name for column in table.primary_key]
    others = {column.name: insert.excluded[column.name] for column in table.columns if column.name not in keys}
    return insert.on_conflict_do_update(index_elements=keys, set_=others)
