"""Shared by all tests: needs of outside programs, and a repeatable profile for generated cases.

A test that needs a program which is absent skips and names it. Where ``BOXHOLD_NO_SKIPS`` is set, as the
continuous integration does, such a skip is a failure: nothing is left untested unseen.
"""

from __future__ import annotations

import os
from collections.abc import Generator

import pytest
from hypothesis import settings

NO_SKIPS = bool(os.environ.get("BOXHOLD_NO_SKIPS"))

settings.register_profile("repeatable", derandomize=True, deadline=None, database=None)
settings.load_profile("repeatable")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Turn a skip into a failure where none is allowed."""
    report = yield
    if NO_SKIPS and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped where no skip is allowed (BOXHOLD_NO_SKIPS): {call.excinfo and call.excinfo.value}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Turn the skip of a whole file into a failure where none is allowed."""
    report = yield
    if NO_SKIPS and report.skipped:
        report.outcome = "failed"
        report.longrepr = f"{collector.nodeid}: skipped where no skip is allowed (BOXHOLD_NO_SKIPS): {report.longrepr}"
    return report
