"""The commands: parse, call, print, exit status."""

import sys
from pathlib import Path
from types import TracebackType
from typing import Annotated

import typer

from verifier.errors import EXIT_OUR_MISTAKE, EXIT_USAGE, VerifierError, WrongUsage
from verifier.loading import uncollected
from verifier.screen import Screen

app = typer.Typer(
    name="verifier",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Mends, measures and judges scans of moulded parts, and makes the mesh to print.",
    epilog="Exit status of check: 0 PASS, 1 FAIL, 2 UNDECIDED, 3 REFUSED, 64 wrong usage.",
)

RulesOption = Annotated[
    Path | None,
    typer.Option("--rules", metavar="DIR", help="The rules folder; else rules/ here, else the shipped one."),
]


ClusterOption = Annotated[
    str | None,
    typer.Option(
        "--cluster", metavar="ADDRESS", help="Run the jobs on this dask scheduler's workers: tcp://HOST:8786."
    ),
]
BenchOption = Annotated[Path, typer.Option("--bench", metavar="BENCH", help="The bench; this folder when left out.")]


@app.command(epilog="Example: verifier new bench")
def new(bench: Annotated[Path, typer.Argument(metavar="BENCH", help="Folder to make the bench in.")]) -> None:
    """Make a bench: inbox, slicer, held, originals and a copy of the rules to make your own."""
    from verifier.bench import new_bench
    from verifier.shipped import rules_folder

    new_bench(bench, rules_folder())
    Screen().say(f"Made the bench {bench}. Start it with: verifier watch {bench}")


@app.command(epilog="Example: verifier watch bench")
def watch(
    bench: Annotated[Path, typer.Argument(metavar="[BENCH]", help="The bench; this folder when left out.")] = Path(),
    cluster: ClusterOption = None,
) -> None:
    """Watch the bench's inbox, and report every scan dropped there until stopped with Ctrl-C."""
    from verifier.watching import watch_bench

    watch_bench(bench, Screen(), cluster)


@app.command(epilog="Example: verifier boot bench, and when that is right: verifier boot bench --write")
def boot(
    bench: Annotated[Path, typer.Argument(metavar="BENCH", help="The bench to watch from the machine's start on.")],
    write: Annotated[bool, typer.Option("--write", help="Write the file, instead of only showing it.")] = False,
    cluster: ClusterOption = None,
) -> None:
    """Show the file that has this system start the service by itself, where it goes, and what to type then."""
    from verifier.booting import boot_bench

    boot_bench(bench, Screen(), write=write, cluster=cluster)


@app.command("status", epilog="Example: verifier status bench")
def show_status(
    bench: Annotated[Path, typer.Argument(metavar="[BENCH]", help="The bench; this folder when left out.")] = Path(),
    as_json: Annotated[bool, typer.Option("--json", help="Print it as JSON, for monitoring.")] = False,
) -> None:
    """Show what waits, what is in hand and at which stage, what waits for you, and what came out."""
    from verifier.standing import show_status

    show_status(bench, Screen(), as_json=as_json)


@app.command(epilog="Example: verifier retry latch_lever --bench bench")
def retry(
    name: Annotated[str, typer.Argument(metavar="NAME|PART", help="A part, or the file name of a scan.")],
    bench: BenchOption = Path(),
) -> None:
    """Run the newest finished scan of a part once more, whatever came of it."""
    from verifier.standing import ask_retry

    ask_retry(bench, name, Screen())


@app.command(epilog="Example: verifier forget fence_clip --bench bench")
def forget(
    part: Annotated[str, typer.Argument(metavar="PART", help="The part to hear no more of.")],
    bench: BenchOption = Path(),
) -> None:
    """Put away what is held of a part; no change of the rules runs it again. Scans and meshes stay."""
    from verifier.standing import ask_forget

    ask_forget(bench, part, Screen())


@app.command(epilog="Example: verifier printed latch_lever --bench bench")
def printed(
    part: Annotated[str, typer.Argument(metavar="PART", help="The part that was printed.")],
    bench: BenchOption = Path(),
    readings: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Readings as TOML or CSV, in place of asking for them.")
    ] = None,
    job: Annotated[int | None, typer.Option(metavar="N", help="The scan whose mesh it is; else the newest.")] = None,
    filament: Annotated[str | None, typer.Option(metavar="NAME", help="Filament, where not as planned.")] = None,
    printer: Annotated[str | None, typer.Option(metavar="NAME", help="Printer, where not as planned.")] = None,
    condition: Annotated[
        str | None, typer.Option(metavar="dry|conditioned", help="Of a nylon: as it was when it was read.")
    ] = None,
    undo: Annotated[int | None, typer.Option(metavar="N", help="Take the print of this number back.")] = None,
) -> None:
    """Enter what the calliper says of a finished print, row by row; the next print's figures get better."""
    from verifier.printed import Asked, enter_print, said_condition, undo_print

    if undo is not None:
        undo_print(part, undo, bench, Screen())
    else:
        enter_print(part, bench, Screen(), Asked(readings, job, filament, printer, said_condition(condition)))


@app.command(epilog="Example: verifier figures PETG --bench bench")
def figures(
    filament: Annotated[
        str | None, typer.Argument(metavar="[FILAMENT]", help="One filament; all that were measured when left out.")
    ] = None,
    bench: BenchOption = Path(),
) -> None:
    """Show each filament's shrinkage and hole figures: the rules', your own prints', which is used and why."""
    from verifier.figures_shown import show_figures

    show_figures(filament, bench, Screen())


@app.command(epilog="Example: verifier history latch_lever --bench bench")
def history(
    part: Annotated[
        str | None, typer.Argument(metavar="[PART]", help="One part; the whole shop when left out.")
    ] = None,
    bench: BenchOption = Path(),
    as_page: Annotated[bool, typer.Option("--page", help="Write it as a page into the bench.")] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print every size of every scan as CSV.")] = False,
) -> None:
    """Show what the bench remembers: parts, what changed on them, prints, the scanner over time, filaments."""
    from verifier.remembered import show_history

    if as_page and as_csv:
        raise WrongUsage("a page is no CSV", where="--page --csv", do="Ask for one of the two")
    show_history(part, bench, Screen(), as_page=as_page, as_csv=as_csv)


@app.command(epilog="Example: verifier check latch_lever.stl --sheet latch_lever.toml --out checked")
def check(
    scans: Annotated[
        list[Path],
        typer.Argument(metavar="SCAN...", help="Exports to check; PART.1.ply PART.2.ply or a folder are one part."),
    ],
    sheet: Annotated[Path | None, typer.Option(metavar="FILE", help="The dimension sheet of the part.")] = None,
    filament: Annotated[str | None, typer.Option(metavar="NAME", help="Filament, in place of the sheet's.")] = None,
    reference: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A mesh to compare the corrected part with, corner by corner.")
    ] = None,
    rules: RulesOption = None,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Write mesh and reports there.")] = None,
    stl: Annotated[bool, typer.Option("--stl", help="Write the mesh as STL too (with --out).")] = False,
    pictures: Annotated[bool, typer.Option("--pictures", help="Write stills as PNG too (with --out).")] = False,
    csv: Annotated[bool, typer.Option("--csv", help="Write the sizes as CSV too (with --out).")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the report as JSON, and nothing else.")] = False,
) -> None:
    """Read, mend, measure, correct and judge scans by hand, without a bench."""
    with uncollected():
        from verifier.checking import check_scans
        from verifier.inspected import Extras
        from verifier.part_scans import parts_in

    for one, option in ((sheet, "--sheet"), (reference, "--reference")):
        if one is not None and len(parts_in(scans)) > 1:
            raise WrongUsage(
                f"one {option.lstrip('-')} cannot serve several parts",
                where=option,
                do="Check the parts one by one, or name it in the rules",
            )
    for wanted, option in ((stl, "--stl"), (pictures, "--pictures"), (csv, "--csv")):
        if wanted and out is None:
            raise WrongUsage("there is no folder to write it to", where=option, do="Add --out DIR")
    extras = Extras(stl, pictures, csv)
    raise typer.Exit(
        check_scans(
            scans,
            Screen(),
            sheet=sheet,
            filament=filament,
            reference=reference,
            rules=rules,
            out=out,
            extras=extras,
            as_json=as_json,
        )
    )


@app.command(epilog="Example: verifier draft latch_lever.stl --out drafted")
def draft(
    scans: Annotated[list[Path], typer.Argument(metavar="SCAN...", help="Exports of parts to measure, one part each.")],
    rules: RulesOption = None,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Write sheet and page there; this folder else.")] = Path(),
) -> None:
    """Draft a dimension sheet to fill in, with a page that shows which size is which."""
    from verifier.drafting import draft_sheets

    raise typer.Exit(draft_sheets(scans, Screen(), rules=rules, out=out))


@app.command(epilog="Example: verifier demo")
def demo(
    bench: Annotated[
        Path | None, typer.Argument(metavar="[BENCH]", help="New folder for the demo's bench; else verifier-demo.")
    ] = None,
) -> None:
    """Make a bench, start the service, drop the demo's five exports in, and show what comes of them."""
    from verifier.demo import run_demo

    raise typer.Exit(run_demo(bench, Screen()))


def main() -> None:
    """Run a command; every mistake of the caller ends in one sentence and its exit status, never in a traceback."""
    command = typer.main.get_command(app)
    screen = Screen()
    sys.excepthook = _our_mistake
    try:
        status = command.main(sys.argv[1:] or ["--help"], prog_name="verifier", standalone_mode=False)
    except VerifierError as error:
        screen.complain(str(error))
        status = error.exit_code
    except typer.TyperException as error:
        screen.complain(f"{error.format_message()} See: verifier --help")
        status = EXIT_USAGE
    except (typer.Abort, KeyboardInterrupt):
        status = 130  # 128 + SIGINT, the shells' convention
    sys.exit(status if isinstance(status, int) else 0)


def _our_mistake(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """Keep the traceback, say whose mistake it is, and leave status 1 to FAIL."""
    sys.__excepthook__(kind, error, trace)
    Screen().complain(
        "this is a mistake of the verifier, not of the scan; nothing was altered. Please report the lines above."
    )
    sys.exit(EXIT_OUR_MISTAKE)


if __name__ == "__main__":
    main()
