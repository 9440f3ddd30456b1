"""How fast paper is made: `python -m tests.bench_paper [seed]`. Prints figures, judges nothing.

One agreement, gathered from the book and printed as people get it, beside the bare PDF library on the same pages: the same HTML, the
same stylesheets, the same variant. Then two hundred renewal letters, written from waiting messages and joined as the page of waiting
letters does, by one process and by two that print half each, as two web processes do; both are warm when the clock starts.
The signed copy is beside them, for the record. The database is its own, a temporary SQLite.
"""

import multiprocessing
import os
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from platform import processor, python_version
from random import Random

LETTERS, TIMES = 200, 11
#: What is promised: an agreement over the bare library; two processes over one.
MOST_TIMES, LEAST_SPEEDUP = 1.5, 1.8
TODAY = date(2026, 7, 15)


def fill_book(rng: Random) -> None:
    """People with postal addresses, a site and an agreement that runs out for each, and a letter about that."""
    from stewardship.agreements import services
    from tests import factory

    factory.make_program()
    signer = factory.make_person("Rosa", "Lind", email="rosa.lind@example.org")
    agreements = []
    for n in range(LETTERS):
        street = rng.choice(["Saltbush Street", "Cottonwood Lane", "Yucca Court", "Juniper Way"])
        person = factory.make_person(
            rng.choice(["Ines", "Bram", "Odile", "Sam", "Lupe"]),
            f"Quist-{n}",
            postal=f"{100 + n} {street}",
            channel="letter",
            language=rng.choice(["en", "en", "es"]),
        )
        site = factory.make_site(f"S-{n}", street=street, address=f"{100 + n} {street}")
        for label in "AB"[: rng.randint(1, 2)]:
            factory.make_basin(site, label=label, plants=False)
        agreements.append(
            factory.make_agreement(
                [site],
                signers=[(person, "owner"), (signer, "program")],
                on=date(2021, 9, 1),
                ends_on=TODAY + timedelta(days=rng.randint(20, 90)),
            )
        )
    sent = services.send_renewal_letters(agreements=agreements)
    if sent.queued != LETTERS:
        raise SystemExit(f"Of {LETTERS} letters {sent.queued} were queued: {sent}")


def median_s(work: Callable[[], object]) -> tuple[float, float]:
    """Median seconds on the wall and of the processor."""
    work()
    walls, owns = [], []
    for _ in range(TIMES):
        wall, own = time.perf_counter(), time.process_time()
        work()
        walls.append(time.perf_counter() - wall)
        owns.append(time.process_time() - own)
    return statistics.median(walls), statistics.median(owns)


def one_agreement() -> None:
    from django.template.loader import render_to_string
    from weasyprint import CSS, HTML

    from people.models import Program
    from stewardship.agreements import documents
    from stewardship.agreements.documents_sheet import short_hash
    from stewardship.agreements.models import Agreement
    from stewardship.common import press
    from stewardship.common.pdf import count_pages

    agreement = Agreement.objects.order_by("pk").first()

    def ours() -> bytes:
        sheet = documents.paper(agreement, wording=agreement.wording, dated=TODAY)
        return documents.render(sheet)

    sheet = documents.paper(agreement, wording=agreement.wording, dated=TODAY)
    context = {"sheet": sheet, "short_hash": short_hash(sheet), "program": Program.get()}
    html = render_to_string(documents.TEMPLATE, context)

    def bare() -> bytes:
        sheets = [
            CSS(url=f"{press.ORIGIN}{name}", url_fetcher=press.StaticFilesOnly())
            for name in press.SHEETS
        ]
        page = HTML(string=html, base_url=press.ORIGIN, url_fetcher=press.StaticFilesOnly())
        return page.write_pdf(stylesheets=sheets, **press.OPTIONS)

    content, plain = ours(), bare()
    pages = count_pages(content)
    if count_pages(plain) != pages:
        raise SystemExit("The bare library made other pages.")
    (wall, own), (bare_wall, bare_own) = median_s(ours), median_s(bare)
    print(f"\none agreement, {pages} pages, {len(content) / 1000:.0f} kB; medians of {TIMES}")
    print(f"  ours   {wall:6.3f} s, processor {own:6.3f} s, from the book to the bytes")
    print(
        f"  bare   {bare_wall:6.3f} s, processor {bare_own:6.3f} s, the same HTML and stylesheets"
    )
    print(
        f"  ratio  {wall / bare_wall:.2f} on the wall, {own / bare_own:.2f} of the processor (limit {MOST_TIMES})"
    )
    signed_copy(content)


def signed_copy(content: bytes) -> None:
    from stewardship.common import seal

    seal.make_seal(name="Bench")
    wall, own = median_s(lambda: seal.sealed(content))
    print(f"  seal over it {wall:.3f} s, processor {own:.3f} s")


def print_part(pks: list[int], ready, told) -> None:
    """One process: sets everything up, prints one letter, waits for the others, prints its part, tells how long it took."""
    import django

    django.setup()
    from stewardship.outbox.models import Message
    from stewardship.outbox.paper import letters_pdf

    letters_pdf(Message.objects.filter(pk__in=pks[:1]))
    ready.wait()
    own = time.process_time()
    content = letters_pdf(Message.objects.filter(pk__in=pks))
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1_024
    told.put((time.perf_counter(), time.process_time() - own, len(content), peak_mb))


def print_in(processes: int, pks: list[int]) -> tuple[float, float]:
    """Seconds until the last of so many processes has printed its part, and what the busiest took of the processor."""
    context = multiprocessing.get_context("spawn")
    ready, told = context.Barrier(processes + 1), context.Queue()
    parts = [pks[n::processes] for n in range(processes)]
    workers = [context.Process(target=print_part, args=(part, ready, told)) for part in parts]
    for one in workers:
        one.start()
    ready.wait()
    begun = time.perf_counter()  # the clock is the machine's: processes can compare it
    ends, owns, sizes, peaks = zip(*(told.get() for _ in workers), strict=True)
    for one in workers:
        one.join()
    wall = max(ends) - begun
    print(
        f"  {processes} process{'es' if processes > 1 else ''} {wall:6.2f} s, processor {sum(owns):6.2f} s, "
        f"{sum(sizes) / 1000:,.0f} kB, at most {max(peaks)} MB each"
    )
    return wall, max(owns)


def many_letters() -> None:
    from stewardship.outbox.models import Message

    pks = list(Message.objects.to_print().values_list("pk", flat=True))
    print(f"\n{len(pks)} renewal letters to print")
    (one, one_own), (two, two_own) = print_in(1, pks), print_in(2, pks)
    print(
        f"  two processes are {one / two:.2f} times as fast on the wall (limit {LEAST_SPEEDUP}); "
        f"with a core for each, by their processor seconds, {one_own / two_own:.2f} times"
    )


def main(seed: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        os.environ.update(
            RILLBOOK_VAR=folder, DJANGO_SETTINGS_MODULE="tests.settings", LOG_LEVEL="ERROR"
        )
        os.environ.pop("DATABASE_URL", None)
        import django
        import time_machine

        django.setup()
        from django.core.management import call_command
        from weasyprint import __version__

        call_command("migrate", verbosity=0)
        with time_machine.travel(TODAY, tick=True):
            fill_book(Random(seed))
        print(
            f"seed {seed} · Python {python_version()} · WeasyPrint {__version__} · {os.cpu_count()} cores, "
            f"load {os.getloadavg()[0]:.1f} · {processor() or 'processor not named'} · {Path(folder).name}"
        )
        one_agreement()
        many_letters()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_261_125)
