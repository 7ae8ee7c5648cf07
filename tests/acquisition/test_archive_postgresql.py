"""The catalogue on a real PostgreSQL server that lives for these tests only."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from acquisition.archive import Archive
from acquisition.logfile import read_log_bytes
from acquisition.records import Event

pytestmark = [pytest.mark.postgresql, pytest.mark.slow]
LOG = (
    b"# boxhold log: 1\n# box: B-07\n# setup: undrilled\n# started: 2026-05-03T14:02:11+02:00\n"
    b"# gauge: absolute kPa\nelapsed_s,reading\n0,101\n"
)


def programs() -> Path | None:
    """Folder of PostgreSQL's own programs; Debian keeps them off the search path."""
    found = shutil.which("initdb")
    places = [Path(found).resolve().parent] if found else []
    places += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    return next((place for place in places if (place / "initdb").exists() and (place / "pg_ctl").exists()), None)


def user_switch(home: str) -> list[str]:
    """The server will not run as root: hand over to the user its package made."""
    if os.geteuid() != 0:
        return []
    shutil.chown(home, "postgres")
    return ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups", "env", f"HOME={home}"]


@pytest.fixture(scope="module")
def url() -> Iterator[str]:
    place = programs()
    if place is None:
        pytest.skip("needs PostgreSQL's initdb and pg_ctl")
    home = tempfile.mkdtemp(prefix="bhpg")
    switch = user_switch(home)

    def run(*words: str) -> None:
        subprocess.run([*switch, *words], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd="/")

    data = f"{home}/data"
    try:
        run(str(place / "initdb"), "-D", data, "-A", "trust", "-U", "boxhold", "--no-sync", "-E", "UTF8",
            "--locale=C.UTF-8")
        options = f"-k {home} -c listen_addresses='' -c fsync=off -c full_page_writes=off"
        run(str(place / "pg_ctl"), "-D", data, "-w", "-l", f"{home}/pg.log", "-o", options, "start")
        try:
            run(str(place / "createdb"), "-h", home, "-U", "boxhold", "boxhold")
            yield f"postgresql://boxhold@/boxhold?host={home}"
        finally:
            run(str(place / "pg_ctl"), "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(home, ignore_errors=True)


def test_the_catalogue_works_on_postgresql_as_on_sqlite(url: str, tmp_path: Path) -> None:
    archive, plain = Archive(tmp_path, url), Archive(tmp_path)
    paths = [archive.file_log(read_log_bytes(LOG)) for _ in range(3)]
    assert archive.entries() == plain.entries()
    archive.add_event("B-07", Event("2026-05-04", "", "correction", f"{paths[1].stem} setup: film-on-top"))
    paths[2].unlink()
    assert [entry.setup for entry in archive.entries()] == ["undrilled", "film-on-top"]
    assert Archive(tmp_path, url).entries() == plain.entries()
    for text in ("{}", '{"a": "ü"}'):
        archive.keep_result("f", "1", text)
        assert Archive(tmp_path, url).kept_result("f", "1") == text
    assert archive.kept_result("f", "2") is None


def test_writers_on_postgresql_wait_for_each_other(url: str, tmp_path: Path) -> None:
    failures: list[BaseException] = []

    def write(who: int) -> None:
        try:
            for i in range(20):
                Archive(tmp_path, url).keep_result("same", "1", f"{who}-{i}")
        except BaseException as error:
            failures.append(error)

    writers = [threading.Thread(target=write, args=(who,)) for who in range(4)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert failures == []
    last = Archive(tmp_path, url).kept_result("same", "1")
    assert last in {f"{who}-19" for who in range(4)}


def test_a_catalogue_of_another_version_is_made_anew(url: str, tmp_path: Path) -> None:
    import sqlalchemy as sa
    from sqlalchemy.pool import NullPool

    Archive(tmp_path, url).keep_result("old", "1", "{}")
    engine = sa.create_engine(url.replace("postgresql", "postgresql+psycopg", 1), poolclass=NullPool)
    with engine.begin() as connection:
        connection.execute(sa.text("UPDATE boxhold_version SET user_version = 99"))
    assert Archive(tmp_path, url).kept_result("old", "1") is None
