"""``boxhold demo`` and ``boxhold serve``: the sample boxes in two minutes, and the pages on this computer."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acquisition.errors import UnreadableInput
from dashboard.faults import DONE, complain

if TYPE_CHECKING:
    from dashboard.shop import Shop

FIRST_PORT = 8050
SAMPLES = Path(__file__).parents[1] / "sample_logs"
"""Beside the packages: in the source folder, and in an editable install of it."""

port_option = click.option(
    "--port", default=FIRST_PORT, show_default=True, type=click.IntRange(0, 65535),
    help="First port to try; a busy one gets the next free one.",
)  # fmt: skip


@click.command(short_help="The sample boxes of an invented shop: answers, then pages.")
@click.option("--no-serve", is_flag=True, help="Print the answers only; serve no pages.")
@port_option
def demo(no_serve: bool, port: int) -> int:
    """Assess and rank the sample boxes of an invented shop, print the answers, then serve the pages.

    The pages are served on this computer only, until Ctrl-C.
    """
    from dashboard.shop import Shop

    shop = Shop(sample_boxes())
    try:
        if no_serve:
            return _print_answers(shop)
        return _print_and_serve(shop, port)
    finally:
        shop.close()


def sample_boxes() -> Path:
    """The archive of the sample boxes; written anew, which takes seconds, where only the packages are installed."""
    if SAMPLES.is_dir():
        return SAMPLES
    from acquisition.simulated.shopfiles import SEEDS_FILE, write_shop

    folder = Path(click.get_app_dir("boxhold")) / "sample-boxes"
    if not (folder / SEEDS_FILE).is_file():
        write_shop(folder)
    return folder


def _print_and_serve(shop: Shop, port: int) -> int:
    """Serve from the start, so that the pages can be looked at while boxes are still being worked out."""
    from dashboard.server import prepare

    served = prepare(shop, port=port)
    click.echo(f"Pages: {served.link}  (Ctrl-C ends)\n")
    background = threading.Thread(target=served.run, name="pages", daemon=True)
    background.start()
    try:
        _print_answers(shop)
        click.echo(f"Pages: {served.link}  (Ctrl-C ends)")
        while background.is_alive():
            background.join(timeout=1.0)
    except KeyboardInterrupt:
        click.echo()
    finally:
        served.close()
    return DONE


def _print_answers(shop: Shop) -> int:
    from dashboard.text_report import box_text

    code = DONE
    for name in shop.names():
        while (found := shop.findings(name, wait_s=1.0)) is None:
            pass
        for trouble in found.troubles:
            complain(trouble)
            code = UnreadableInput.exit_code
        answer = None if found.last is None else found.last.result
        click.echo(f"{box_text(name, answer, found.ranking, found.box.tank is not None)}\n")
    return code


@click.command(short_help="The pages of an archive, on this computer.")
@click.option("--archive", metavar="DIR", type=click.Path(path_type=Path),
              help="The archive; else this folder if it holds boxes, else the sample boxes.")  # fmt: skip
@click.option("--share", is_flag=True, help="Let other devices in the shop in, by the link that is printed.")
@port_option
def serve(archive: Path | None, share: bool, port: int) -> int:
    """Serve the pages of an archive: on this computer only, or with --share in the shop's network."""
    if archive is not None and not archive.is_dir():
        raise UnreadableInput("no such archive folder; give the folder that holds the boxes' folders.", archive)
    from dashboard.server import serve as serve_pages
    from dashboard.shop import Shop

    folder = archive or (Path() if any(Path().glob("*/box.toml")) else sample_boxes())
    click.echo(f"Archive: {folder.resolve()}")
    serve_pages(Shop(folder), port=port, share=share, ready=lambda link: _tell_link(link, share))
    return DONE


def _tell_link(link: str, share: bool) -> None:
    click.echo(f"Pages: {link}  (Ctrl-C ends)")
    if share:
        click.echo("Whoever in this network has the link sees the pages and can add notes; pass it on with care.")
