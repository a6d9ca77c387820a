"""Every way a value may be written reads back as that value, or is told.

The values are drawn at random and written by Python's own formatting, which is the
outside measure; units convert by their definitions (1 mL = 1000 uL = 1000 mm3, C = (F -
32) / 1.8, SI Brochure 9th edition, tables 8 and the litre of section 4).
"""

import datetime as dt
import random

import pytest
from queen_outcomes.facts import languages
from queen_outcomes.facts.reading import CellRule
from queen_outcomes.facts.settings import parse
from queen_outcomes.records.cells import WrittenColumn
from queen_outcomes.records.steps import CellForm
from written_cells import read, read_rows, values

BOOK = CellForm(workbook=True)
DRAWN = random.Random(20250612)
DAYS = [
    dt.date(2000, 1, 1) + dt.timedelta(days=DRAWN.randrange(20_000)) for _ in range(60)
]
TIMES = [dt.time(DRAWN.randrange(24), DRAWN.randrange(60)) for _ in range(60)]


def moments(texts, form=None, **rule):
    return values("co2", "given_at", texts, rule=CellRule(**rule), form=form)


def at(day, time=dt.time()):
    return dt.datetime.combine(day, time)


def why(table, column, text, form=None, **rule):
    written = {column: WrittenColumn(("cell",), CellRule(**rule))}
    (row,) = read_rows(table, {"cell": [text]}, written, form)
    assert row[column] is None
    assert row[f"{column}__unread"] == text
    return row[f"{column}__why"]


# --- days


@pytest.mark.parametrize("order", ["dmy", "mdy", "ymd"])
@pytest.mark.parametrize("between", [".", "/", "-", " ", ". ", ",", " / "])
@pytest.mark.parametrize("padded", [True, False])
@pytest.mark.parametrize("short_year", [True, False])
def test_figures_in_the_order_set(order, between, padded, short_year):
    days = [day.replace(year=2000 + day.year % 100) for day in DAYS if day.day < 29]
    assert days
    texts = []
    for day in days:
        width = "02d" if padded else "d"
        parts = {
            "d": format(day.day, width),
            "m": format(day.month, width),
            "y": f"{day.year % 100:02d}" if short_year else str(day.year),
        }
        texts.append(between.join(parts[sign] for sign in order))
    assert moments(texts, dates=order) == [at(day) for day in days]


def test_a_year_in_full_before_the_rest_is_read_under_every_order():
    texts = [
        text
        for day in DAYS
        for text in (
            f"{day:%Y/%m/%d}",
            f"{day:%Y%m%d}",
            f"{day.year}-{day.month}-{day.day}",
        )
    ]
    expected = [at(day) for day in DAYS for _ in range(3)]
    for order in ("iso", "dmy", "mdy", "ymd"):
        assert moments(texts, dates=order) == expected


@pytest.mark.parametrize("order", ["dmy", "mdy"])
@pytest.mark.parametrize("hour", ["", " 10:30", " 10.30", " 4 pm"])
@pytest.mark.parametrize("kept", ["iso", "serial"])
def test_days_that_a_spreadsheet_of_another_country_turned_are_read_as_they_were_written(
    order, hour, kept
):
    # what was typed was day and month in ``order``; the program had it the other way
    time = dt.time(16) if "pm" in hour else dt.time(10, 30) if hour else dt.time()
    texts = []
    for day in DAYS:
        if day.day > 12:
            form = "%d/%m/%Y" if order == "dmy" else "%m/%d/%Y"
            texts.append(format(day, form) + hour)
            continue
        taken = day.replace(month=day.day, day=day.month)
        serial = (taken - dt.date(1899, 12, 30)).days
        texts.append((taken.isoformat() if kept == "iso" else str(serial)) + hour)
    assert any(day.day > 12 for day in DAYS)
    assert any(day.day <= 12 != day.month for day in DAYS)
    expected = [at(day, time) for day in DAYS]
    assert moments(texts, BOOK, dates=f"mixed:{order}") == expected


def test_a_real_day_after_the_twelfth_cannot_have_been_turned_and_stays():
    texts = ["2025-05-13", "2025/04/05", "20250405"]
    expected = [dt.date(2025, 5, 13), dt.date(2025, 4, 5), dt.date(2025, 4, 5)]
    assert moments(texts, dates="mixed:mdy") == [at(day) for day in expected]


def test_a_day_that_fits_only_another_order_is_told_and_never_turned():
    late = [day for day in DAYS if day.day > 12]
    assert late
    assert moments([f"{day:%m/%d/%Y}" for day in late], dates="dmy") == [None] * len(
        late
    )
    assert moments([f"{day:%d/%m/%Y}" for day in late], dates="mdy") == [None] * len(
        late
    )
    assert moments([f"{day:%d.%m.%Y}" for day in DAYS]) == [None] * len(DAYS)
    assert moments([f"{day:%d.%m.%y}" for day in DAYS]) == [None] * len(DAYS)


@pytest.mark.parametrize("order", ["iso", "dmy", "mdy"])
def test_month_names_of_every_language_under_every_order(order):
    names = sorted(languages.months().items())
    assert len({number for _, number in names}) == 12
    assert len(names) > 100
    texts, expected = [], []
    for name, number in names:
        day = dt.date(2025, number, DRAWN.randrange(1, 29))
        for form in (
            "{d} {m} 2025",
            "{d}. {m} 2025",
            "{d}-{m}-25",
            "{M} {d}, 2025",
            "{d:02d}{M}2025",
            "2025 {m} {d}",
        ):
            texts.append(form.format(d=day.day, m=name, M=name.upper()))
            expected.append(at(day))
    assert moments(texts, dates=order) == expected


def test_names_of_months_carry_accents_or_not():
    texts = [
        "3 août 2025",
        "3 aout 2025",
        "3 März 2025",
        "3 września 2025 r.",
        "3 ZÁŘÍ 2025",
    ]
    found = [moment.month for moment in moments(texts)]
    assert found == [8, 8, 3, 9, 9]


def test_no_name_of_a_month_means_two_months():
    seen: dict[str, set[int]] = {}
    for document in languages.documents():
        for number, names in enumerate(document["months"]["names"], start=1):
            for name in names:
                seen.setdefault(languages.folded(name), set()).add(number)
    double = {name for name, numbers in seen.items() if len(numbers) > 1}
    assert seen
    assert not double & set(languages.months())


def test_words_around_a_day():
    texts = [
        "3rd June 2025",
        "June 3rd, 2025",
        "1er juin 2025",
        "3 de junio de 2025",
        "3rd of June 2025",
        "03.06.2025 r.",
        "3.6.2025.",
    ]
    day = dt.datetime.fromisoformat("2025-06-03")
    assert moments(texts, dates="dmy") == [day, day, day.replace(day=1), *[day] * 4]


# The names of weekdays as the languages' own dictionaries spell and shorten them, Monday
# first; what a name means on a day is taken from Python's calendar.
WEEKDAYS = {
    "en": (("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"), "{:%d/%m/%Y}"),
    "de": (("Mo.", "Di.", "Mi.", "Do.", "Fr.", "Sa.", "So."), "{:%d.%m.%Y}"),
    "fr": (("lun.", "mar.", "mer.", "jeu.", "ven.", "sam.", "dim."), "{:%d/%m/%Y}"),
    "es": (
        ("lunes", "martes", "miércoles", "jueves", "viernes", "sábado", "domingo"),
        "{:%d/%m/%y}",
    ),
    "it": (("lun", "mar", "mer", "gio", "ven", "sab", "dom"), "{:%d/%m/%Y}"),
    "pl": (
        (
            *("poniedziałek", "wtorek", "środa", "czwartek"),
            *("piątek", "sobota", "niedziela"),
        ),
        "{:%d.%m.%Y}",
    ),
    "cs": (("po", "út", "st", "čt", "pá", "so", "ne"), "{:%d.%m.%Y}"),
}


@pytest.mark.parametrize("language", WEEKDAYS)
def test_a_weekday_before_a_day_is_no_month_and_has_to_be_that_days(language):
    names, form = WEEKDAYS[language]
    days = [day.replace(year=2000 + day.year % 100) for day in DAYS if day.day < 29]
    texts = [f"{names[day.weekday()]} {form.format(day)}" for day in days]
    assert moments(texts, dates="dmy") == [at(day) for day in days]
    timed = [f"{text} 14h30" for text in texts]
    assert moments(timed, dates="dmy") == [at(day, dt.time(14, 30)) for day in days]
    # that of three days later is wrong in every language ("So" alone may be two days)
    wrong = [f"{names[(d.weekday() + 3) % 7]} {form.format(d)}" for d in days]
    assert moments(wrong, dates="dmy") == [None] * len(days)


def test_a_weekday_that_is_a_month_to_others_stays_one_before_a_day_and_month():
    # 4 August 2026 is a Tuesday; read as a month, "mar. 04/08" was the 4th of March 2008
    of_2026 = {"dates": "dmy", "year": 2026}
    tuesday = at(dt.date(2026, 8, 4))
    texts = ["mar. 04/08", "mar 4/8", "mar. 4 août", "mar. 04/08/2026", "mar, 4.8."]
    assert moments(texts, **of_2026) == [tuesday] * len(texts)
    march = ["Mar 4 2026", "Mar 4, 2026", "Mar. 4 26", "Mar-04-26", "mar 4", "Mar 4th"]
    assert moments(march, **of_2026) == [at(dt.date(2026, 3, 4))] * len(march)
    says = "whose weekday is not that of its day: 2026-08-05 is a Wednesday"
    assert why("co2", "given_at", "mar. 05/08", **of_2026) == says


@pytest.mark.parametrize("shift", [-1, 1, -30, 0])
def test_a_day_may_lie_some_days_from_the_one_that_is_written(shift):
    texts = [f"{day:%d.%m.%Y}" for day in DAYS] + [f"{day:%d %b %Y} 9:30" for day in DAYS]
    moved = [day + dt.timedelta(days=shift) for day in DAYS]
    rule = {"dates": "dmy", "days": shift}
    assert moments(texts, **rule) == [
        *(at(day) for day in moved),
        *(at(day, dt.time(9, 30)) for day in moved),
    ]
    days = values("exits", "left_on", texts, rule=CellRule(**rule))
    assert days == [*moved, *moved]
    assert moments(["spring"], **rule) == [None]


def test_a_year_may_stand_apart_from_its_day_and_month():
    day = at(dt.date(2024, 6, 2))
    texts = ["2/6-24", "2/6-2024", "2/6 2024", "2/6 24", "2.6 2024", "02/06 - 2024"]
    assert moments(texts, dates="dmy") == [day] * len(texts)
    turned = at(dt.date(2024, 2, 6))
    assert moments(texts, dates="mdy") == [turned] * len(texts)
    # a time, a range, and what nobody writes
    assert moments(["2.6 24", "2/6-4/6", "2-6/24", "2.6/2024"], dates="dmy") == [None] * 4


def test_days_of_iso_weeks():
    days = [*DAYS, dt.date(2020, 12, 31), dt.date(2021, 1, 3), dt.date(2024, 12, 30)]
    for form in ("{}-W{:02d}-{}", "{}W{:02d}{}", "{}-w{:02d}-{}"):
        texts = [form.format(*day.isocalendar()) for day in days]
        for order in ("iso", "dmy"):
            assert moments(texts, dates=order) == [at(day) for day in days]
        timed = [f"{text} 9:05" for text in texts]
        assert moments(timed) == [at(day, dt.time(9, 5)) for day in days]
    # 2021 had 52 weeks, 2020 had 53
    assert moments(["2021-W53-1", "2020-W53-1", "2020-W00-1", "2020-W10-8"]) == [
        None,
        at(dt.date(2020, 12, 28)),
        None,
        None,
    ]
    assert why("co2", "given_at", "2026-W27") == "which is a week and no day"


def test_days_without_a_year_take_the_files():
    texts = ["3.6.", "3/6", "3rd June", "June 3", "3.6. 14:30"]
    day = dt.datetime.fromisoformat("2025-06-03")
    found = moments(texts, dates="dmy", year=2025)
    assert found == [*[day] * 4, day.replace(hour=14, minute=30)]
    assert moments(texts, dates="dmy") == [None] * 5
    assert moments(["6/3"], dates="mdy", year=2025) == [day]
    assert moments(["3/6"], year=2025) == [None], "no order is set"


def test_a_day_that_a_workbook_made_a_number_of_is_told():
    assert moments(["3.1", "3.10"], BOOK, dates="dmy", year=2025) == [None, None]
    assert moments(["3.10."], BOOK, dates="dmy", year=2025) == [
        dt.datetime.fromisoformat("2025-10-03")
    ]


# --- times


TWELVE = ["{h12}:{m:02d} {half}", "{h12}:{m:02d}{HALF}", "{h12}.{m:02d} {dots}"]
WHOLE = [
    "{h}:{m:02d}",
    "{h:02d}:{m:02d}:00",
    "{h}h{m:02d}",
    "{h}.{m:02d}",
    "{h}:{m:02d} Uhr",
    "{h} h {m:02d}",
    "{h:02d}{m:02d}",
]


@pytest.mark.parametrize("form", [*TWELVE, *WHOLE])
@pytest.mark.parametrize(
    ("order", "day_form"),
    [
        ("iso", "%Y-%m-%d"),
        ("dmy", "%d.%m.%y"),
        ("mdy", "%m/%d/%Y"),
        ("dmy", "%d %B %Y"),
    ],
)
def test_clocks_after_a_day(form, order, day_form):
    texts, expected = [], []
    for day, time in zip(DAYS, TIMES, strict=True):
        half = "am" if time.hour < 12 else "pm"
        clock = form.format(
            h=time.hour,
            h12=time.hour % 12 or 12,
            m=time.minute,
            half=half,
            HALF=half.upper(),
            dots=f"{half[0]}.m.",
        )
        recent = day.replace(year=2000 + day.year % 100)
        texts.append(f"{recent.strftime(day_form)} {clock}")
        expected.append(at(recent, time))
    assert moments(texts, dates=order) == expected


@pytest.mark.parametrize(
    "clock", ["25:00", "9:60", "0:30 am", "13:00 pm", "9:5", "noon", "24:00"]
)
def test_no_such_time(clock):
    assert moments([f"2025-06-03 {clock}"]) == [None]


def test_a_day_and_its_hour_in_two_columns():
    written = {"given_at": WrittenColumn(("day", "hour"), CellRule(dates="mdy"))}
    columns = {
        "day": ["4/30/24", "2024-04-30 00:00:00", "4/30/24", None, "4/30/24"],
        "hour": ["9:34 AM", "1899-12-31 15:52:00", None, "3:52pm", "half nine"],
    }
    rows = read_rows("co2", columns, written)
    day = dt.datetime.fromisoformat("2024-04-30")
    assert [row["given_at"] for row in rows] == [
        day.replace(hour=9, minute=34),
        day.replace(hour=15, minute=52),
        day,
        None,
        None,
    ]
    assert [row["given_at__unread"] for row in rows[3:]] == [
        "3:52pm",
        "4/30/24 half nine",
    ]


def test_a_workbooks_own_days_and_hours():
    # 45412 is 30 April 2024 in the calendar that begins on 1900-01-01
    written = {"given_at": WrittenColumn(("day", "hour"), CellRule(dates="dmy"))}
    rows = read_rows(
        "co2", {"day": ["45412"], "hour": ["0.398611111111111"]}, written, BOOK
    )
    assert rows[0]["given_at"] == dt.datetime.fromisoformat("2024-04-30T09:34")


# --- why


@pytest.mark.parametrize(
    ("text", "rule", "says"),
    [
        ("13.25.2025", {"dates": "dmy"}, "there is no such day"),
        ("31.2.2025", {"dates": "dmy"}, "there is no such day"),
        (
            "4/13/2025",
            {"dates": "dmy"},
            'month-day-year; correct it, or set dates = "mdy"',
        ),
        (
            "13/4/2025",
            {"dates": "mdy"},
            'day-month-year; correct it, or set dates = "dmy"',
        ),
        ("3.6.2025", {}, "may be day-month-year or month-day-year"),
        ("3rd June", {}, "has no year"),
        ("3.6.", {"dates": "dmy"}, "has no year"),
        ("3 Foo 2025", {}, 'names no month that is known: "foo"'),
        ("31 June 2025", {}, "there is no such day"),
        ("9:34 AM", {}, "a time without a day"),
        ("2025-06-03 25:00", {}, 'whose time cannot: "25:00"'),
        ("2025-06-03T10:00Z", {}, "offset"),
        ("1825-06-03", {}, "year is not from 1900 to 2200"),
        ("45412", {}, "a spreadsheet may have put it for the day 2024-04-30"),
        ("5.4/2025", {"dates": "dmy"}, "two kinds of separators"),
        ("#VALUE!", {}, "an error of a spreadsheet"),
        ("next week", {}, "a text and no date"),
    ],
)
def test_a_date_unreadable_names_its_true_cause(text, rule, says):
    assert says in why("co2", "given_at", text, **rule)


@pytest.mark.parametrize(
    ("text", "rule", "says"),
    [
        ("8,5", {}, "a comma for its decimal sign"),
        ("8.5 ul", {"decimal": ","}, "a point for its decimal sign"),
        ("1,234", {}, "thousands or one with decimals"),
        ("1.234", {"decimal": ","}, "thousands or one with decimals"),
        ("8 gal", {}, "whose unit is none of: uL, mL"),
        ("8-9", {}, "two numbers"),
        ("8x5", {}, "how many doses"),
        ("?", {}, "no number that can be read"),
    ],
)
def test_a_number_unreadable_names_its_true_cause(text, rule, says):
    assert says in why("inseminations", "dose_ul", text, **rule)


# --- numbers


def figure(number, decimal):
    return format(number, "g").replace(".", decimal)


@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize(
    ("table", "column", "unit", "convert", "forms"),
    [
        ("inseminations", "dose_ul", None, lambda x: x, ["{} ul", "{}µl", "{} μL", "{} mm3", "{}mm³", "{} µl.", "{} Mikroliter", "{}"]),
        ("inseminations", "dose_ul", "mL", lambda x: x, ["{} ul", "{}µl"]),
        ("inseminations", "dose_ul", "mL", lambda x: x, ["{} mikrol.", "{} microl"]),
        ("inseminations", "dose_ul", "mL", lambda x: 1000 * x, ["{}", "{} mL", "{}ml"]),
        ("semen", "storage_c", None, lambda x: (x - 32) / 1.8, ["{} °F", "{}°F", "{} F", "{}℉"]),
        ("semen", "storage_c", "F", lambda x: x, ["{} °C", "{}C", "{} ℃"]),
        ("semen", "storage_c", "F", lambda x: (x - 32) / 1.8, ["{}", "{}°", "{} deg"]),
        ("checks", "pattern_pct", None, lambda x: x, ["{} %", "{}%", "{} pct", "{}％"]),
        ("checks", "pattern_pct", "share", lambda x: 100 * x, ["{}"]),
        ("checks", "pattern_pct", "share", lambda x: x, ["{} %"]),
        ("inseminations", "minutes", None, lambda x: x, ["{} min", "{} Min.", "{} minutes"]),
        ("inseminations", "minutes", None, lambda x: x / 60, ["{} s", "{}sec"]),
        ("semen", "drone_age_days", None, lambda x: x, ["{} days", "{} d", "{} Tage", "{} dni"]),
        ("semen", "drone_age_days", None, lambda x: 7 * x, ["{} weeks"]),
        ("lab", "sperm_millions", None, lambda x: x, ["{} Mio", "{} million"]),
    ],
)  # fmt: skip
def test_numbers_with_their_unit(decimal, table, column, unit, convert, forms):
    drawn = [round(DRAWN.uniform(0.01, 99), DRAWN.randrange(4)) for _ in range(40)]
    # three decimals after a single figure may be thousands where the sign is the other
    texts = [form.format(figure(x, decimal)) for x in drawn for form in forms]
    expected = [pytest.approx(convert(x), abs=1e-8) for x in drawn for _ in forms]
    rule = CellRule(decimal=decimal, unit=unit)
    assert values(table, column, texts, rule=rule) == expected


def spans(texts, form=None, **rule):
    return values("co2", "minutes", texts, rule=CellRule(**rule), form=form)


SECONDS = [DRAWN.randrange(1, 60 * 60) for _ in range(60)]


@pytest.mark.parametrize(
    "form",
    [
        *("{m} min {s}", "{m} min {s} s", "{m}min{s:02}s", "{m} min. {s} sec."),
        *("{m}'{s:02}''", "{m}'{s:02}\"", "{m}’{s:02}″", "{m}′ {s}″", "{m}m{s:02}s"),
        *("{m} minutes et {s} secondes", "{m} mn {s:02}", "{m}:{s:02} min", "0:{m:02}:{s:02}"),
    ],
)
@pytest.mark.parametrize("unit", [None, "s", "min:s", "h:min"])
def test_a_span_in_two_units_says_by_itself_which_they_are(form, unit):
    texts = [form.format(m=each // 60, s=each % 60) for each in SECONDS]
    read = spans(texts, unit=unit)
    assert read == pytest.approx([each / 60 for each in SECONDS], abs=1e-8)


def test_hours_and_minutes():
    texts = ["1 h 30", "1h30", "1 h 30 min", "1:30 h", "0 h 05", "2 hours 15 minutes"]
    assert spans(texts) == [90, 90, 90, 90, 5, 135]
    assert spans(["4'", "30''", "90 s", '30"']) == [4, 0.5, 1.5, 0.5]


def test_a_span_with_a_colon_is_read_as_the_settings_say_and_else_told():
    texts = ["4:30", "12:05", "04:30:00"]
    assert spans(texts) == [None, None, None]
    assert spans(texts, unit="min:s") == pytest.approx([4.5, 12 + 5 / 60, 4.5])
    assert spans(texts, unit="h:min") == [270, 725, 270]
    # as a workbook keeps a time of day, and a time that has been typed in full
    kept = ["1899-12-31 04:30:00", "1899-12-31 00:04:30"]
    assert spans(kept, BOOK) == [None, 4.5]
    assert spans(kept, BOOK, unit="min:s") == [4.5, 4.5]
    assert spans(["4", "4.5 min"], unit="min:s") == [4, 4.5]
    for text in ("4:30", "04:30:00"):
        assert why("co2", "minutes", text) == (
            "which may be minutes and seconds or hours and minutes; "
            'set unit = "min:s" or "h:min" for its column'
        )


def test_what_only_resembles_a_span_is_told():
    texts = ["4:75", "4 min 75", "4 min 30 min", "1'000''", "4 s 30", "-4 min 30"]
    assert spans(texts) == [None] * len(texts)
    # a dose is no span
    assert values("inseminations", "dose_ul", ["4'30''", "4 min", "4:30"]) == [None] * 3


ABOUT = ("~", "ca.", "env.", "ungefähr")


@pytest.mark.parametrize("decimal", [".", ","])
def test_a_number_that_is_only_about_right_counts_where_the_settings_say_so(decimal):
    amounts = [DRAWN.randrange(20, 140) / 10 for _ in range(20)]
    forms = ("~{}", "~ {} µl", "ca. {}", "CA {}ul", "{} env.", "{} µl env", "ungefahr {}")
    for form in forms:
        texts = [form.format(figure(amount, decimal)) for amount in amounts]
        told = read("inseminations", "dose_ul", texts, CellRule(decimal=decimal))
        assert told == [(None, text) for text in texts]
        rule = CellRule(decimal=decimal, about=ABOUT)
        assert values("inseminations", "dose_ul", texts, rule=rule) == amounts
    says = "which says that it is only about that number"
    assert why("inseminations", "dose_ul", "~8") == says
    # a mark makes no number of what is none, and one that is not set is none
    left = ["ca.", "~8-9", "8 envelopes", "about 8", "cab 8", "~"]
    assert read("inseminations", "dose_ul", left, CellRule(about=ABOUT)) == [
        (None, text) for text in left
    ]


@pytest.mark.parametrize("decimal", [".", ","])
def test_a_text_of_a_column_of_numbers_counts_as_the_settings_say(decimal):
    rule = parse(
        {
            "numbers": {"decimal": decimal},
            "read": [
                {
                    "from": "x.csv",
                    "table": "checks",
                    "columns": {
                        "queen_id": "Q",
                        "checked_on": "D",
                        "pattern_pct": {
                            "from": "P",
                            "words": {"8-9": 8.5, "Good": 85, "4/5": 80, "full": 1e2},
                        },
                    },
                }
            ],
        }
    ).reading
    (read_rule,) = rule.rules
    said = read_rule.columns["pattern_pct"]
    own = rule.cell_rule("checks", "pattern_pct", "x.csv", said)
    texts = ["8-9", "good", "4/5", "full", "70", "3/5", "9-8"]
    expected = [8.5, 85, 80, 100, 70, None, None]
    assert values("checks", "pattern_pct", texts, rule=own) == expected


def test_a_unit_that_means_two_things_is_told():
    # "mil" is thousand in Spanish and short for million in Czech
    assert "mil" not in languages.units("million")
    assert read("lab", "sperm_millions", ["5 mil"]) == [(None, "5 mil")]


@pytest.mark.parametrize("decimal", [".", ","])
def test_thousands_that_can_be_nothing_else(decimal):
    group = "," if decimal == "." else "."
    written = [
        f"1{group}234{decimal}5",
        "1 234",
        f"1 234{decimal}5",
        f"1{group}234{group}567",
        "1'234",
    ]
    found = values("semen", "volume_ul", written, rule=CellRule(decimal=decimal))
    assert found == [1234.5, 1234, 1234.5, 1234567, 1234]


@pytest.mark.parametrize(
    "text",
    [
        "8²",
        "10³",
        "7½",
        "~8",
        "8·5",
        "=4+4",
        "8.",
        "1e3",
        "8 8",
        "8 ul ul",
        "ul 8",
        "8%",
    ],
)
def test_what_only_resembles_a_number_is_told(text):
    assert read("inseminations", "dose_ul", [text]) == [(None, text)]


def doses(texts, **rule):
    written = {"dose_ul": WrittenColumn(("cell",), CellRule(**rule))}
    rows = read_rows("inseminations", {"cell": texts}, written)
    return [(row["dose_ul"], row["dose_ul__parts"]) for row in rows]


@pytest.mark.parametrize("decimal", [".", ","])
def test_sums_and_products_of_doses(decimal):
    texts, expected = [], []
    for _ in range(60):
        parts = [round(DRAWN.uniform(0.5, 9), 1) for _ in range(DRAWN.randrange(2, 5))]
        unit = DRAWN.choice(["", " ul", "µl"])
        plus = DRAWN.choice(["+", " + "])
        texts.append(plus.join(figure(x, decimal) for x in parts) + unit)
        expected.append((pytest.approx(sum(parts), abs=1e-8), len(parts)))
        count, each = DRAWN.choice([2, 3]), round(DRAWN.uniform(3.1, 9), 1)
        times = DRAWN.choice(["x", " x ", "×", " × ", "*", "X"])
        texts.append(f"{count}{times}{figure(each, decimal)}{unit}")
        expected.append((pytest.approx(count * each, abs=1e-8), count))
        texts.append(f"{figure(each, decimal)} ul{times}{count}")
        expected.append((pytest.approx(count * each, abs=1e-8), count))
    assert doses(texts, decimal=decimal) == expected


def test_a_sum_in_the_columns_unit_or_in_its_own():
    assert doses(["0.004+0.004", "4 ul + 4 ul"], unit="mL") == [(8, 2), (8, 2)]


def test_a_product_counts_by_its_first_factor_unless_only_the_second_can():
    assert doses(["2x4", "8x2", "2x2", "4x5", "8", "4+0", "4 ul + 0.004 mL"]) == [
        (8, 2), (16, 2), (4, 2), (None, None), (8, None), (None, None), (None, None),
    ]  # fmt: skip


def test_only_doses_are_summed():
    assert read("semen", "volume_ul", ["40+45"]) == [(None, "40+45")]


# --- yes, no and words


def yes_no(texts, **rule):
    return values("checks", "eggs", texts, rule=CellRule(**rule))


def test_ticks_are_yes_and_crosses_are_told():
    ticks = ["x", "X", "✓", "✔", "✔\ufe0f", "√", "+", "☑"]
    assert yes_no(ticks) == [True] * len(ticks)
    crosses = ["✗", "✘", "☒", "-", "?"]
    assert read("checks", "eggs", crosses) == [(None, cross) for cross in crosses]
    assert yes_no(["✗", "x"], words={"no": ("✗",), "yes": ()}) == [False, True]


def test_the_stations_words_may_even_swap_yes_and_no():
    words = {"yes": ("no",), "no": ("yes",)}
    assert yes_no(["yes", "no", "NO", "true", "x"], words=words) == [
        False,
        True,
        True,
        True,
        True,
    ]


def test_ticks_with_initials_name_the_checker_where_none_is_named():
    written = {
        "checker": WrittenColumn(("who",)),
        "eggs": WrittenColumn(("eggs",)),
        "larvae": WrittenColumn(("larvae",)),
    }
    columns = {
        "who": [None, "Jo Dahl", None, None, None],
        "eggs": ["✓ HK", "✓hk", "x", "✓ no", "x few"],
        "larvae": ["✓ JD", None, "x AB", "✔ H. K.", "X"],
    }
    rows = read_rows("checks", columns, written)
    assert [row["checker"] for row in rows] == ["HK", "Jo Dahl", "AB", "H. K.", None]
    assert [row["eggs"] for row in rows] == [True, True, True, None, None]
    assert [row["larvae"] for row in rows] == [True, None, True, True, True]
    assert [row["eggs__unread"] for row in rows] == [None] * 3 + ["✓ no", "x few"]


def test_a_blank_is_no_only_where_that_is_set_and_the_row_has_a_date():
    written = {
        "checked_on": WrittenColumn(("day",)),
        "eggs": WrittenColumn(("eggs",), CellRule(blank="no", empty=("-",))),
        "larvae": WrittenColumn(("larvae",)),
    }
    columns = {
        "day": ["2025-06-01", "2025-06-01", None, "2025-06-01", "2025-06-01"],
        "eggs": [None, " ", None, "-", "maybe"],
        "larvae": [None] * 5,
    }
    rows = read_rows("checks", columns, written)
    assert [row["eggs"] for row in rows] == [False, False, None, None, None]
    assert rows[4]["eggs__unread"] == "maybe"
    assert [row["larvae"] for row in rows] == [None] * 5


def test_a_filled_cell_is_yes_where_the_settings_say_so():
    texts = ["white 23", "x", "ja", "no", "keine", "?", "unbekannt", "", None, "rot"]
    words = {"yes": ("ja",), "no": ("rot",)}
    rule = CellRule(filled=True, words=words)
    written = {"marked": WrittenColumn(("cell",), rule)}
    ours, left = zip(
        *(
            (row["marked"], row["marked__unread"])
            for row in read_rows("queens", {"cell": texts}, written)
        ),
        strict=True,
    )
    assert ours == (True, True, True, False, None, None, None, None, None, False)
    # what a language has for no, and a sign, is told and never taken for a yes
    assert left == (*(None,) * 4, "keine", "?", "unbekannt", None, None, None)
    assert values("queens", "marked", ["white 23"]) == [None]


def test_words_of_a_column_stand_for_its_values_of_any_kind():
    day = CellRule(words={"2025-06-12": ("first round",)})
    found = read(
        "checks", "checked_on", ["First  round", "2025-06-13", "second round"], day
    )
    assert found == [
        (dt.date(2025, 6, 12), None),
        (dt.date(2025, 6, 13), None),
        (None, "second round"),
    ]
    full = CellRule(words={"8": ("full",)})
    assert read("inseminations", "dose_ul", ["full", "9 ul"], full) == [
        (8, None),
        (9, None),
    ]


FINDINGS = {
    "eggs + larvae": {"eggs": "yes", "larvae": "yes"},
    "dl": {"drone_in_worker": "many"},
    "not opened": {},
    "90": {"pattern_pct": "90"},
}


def test_free_words_set_several_columns_and_unknown_ones_are_told():
    written = {
        "findings": WrittenColumn(("said",), CellRule(findings=FINDINGS)),
        "eggs": WrittenColumn(("eggs",)),
    }
    columns = {
        "said": [
            "Eggs  + larvae",
            "eggs + larvae",
            "DL",
            "not opened",
            "laying nicely",
            "90",
            None,
        ],
        "eggs": [None, "no", None, None, None, None, None],
    }
    rows = read_rows("checks", columns, written)
    assert [row["eggs"] for row in rows] == [True, False, *[None] * 5]
    assert [row["larvae"] for row in rows] == [True, True, *[None] * 5]
    assert [row["drone_in_worker"] for row in rows] == [None, None, "many", *[None] * 4]
    assert [row["pattern_pct"] for row in rows] == [*[None] * 5, 90, None]
    unread = [row["findings__unread"] for row in rows]
    assert unread == [*[None] * 4, "laying nicely", None, None]


NUMBERED = {
    "els {pattern_pct}": {"eggs": "yes", "sealed": "yes"},
    "brood {pattern_pct} of all": {"sealed": "yes"},
    "els 50": {"sealed": "no"},
    "el": {"eggs": "yes"},
}


@pytest.mark.parametrize("decimal", [".", ","])
def test_a_number_inside_free_words_goes_into_its_column(decimal):
    rule = CellRule(findings=NUMBERED, decimal=decimal)
    said = ["ELS 80", "els75%", f"ELS  82{decimal}5 %", "Brood 60% of all", "EL"]
    told = ["ELS", "ELS 80 90", "xELS 80", "ELS -5", "ELS 80 ul", "ELS eighty"]
    columns = {"said": [*said, "ELS 50", *told]}
    written = {"findings": WrittenColumn(("said",), rule)}
    rows = read_rows("checks", columns, written)
    unread = [None] * len(told)
    assert [r["pattern_pct"] for r in rows] == [80, 75, 82.5, 60, None, None, *unread]
    assert [r["eggs"] for r in rows] == [*[True] * 3, None, True, None, *unread]
    # what is written out whole comes first
    assert [r["sealed"] for r in rows] == [*[True] * 4, None, False, *unread]
    assert [r["findings__unread"] for r in rows] == [*[None] * 6, *told]


# --- whatever is written


SIGNS = "0123456789 .,-/:+x×%µulFC°apmhju'\u00a0½"


def test_no_text_is_lost_and_none_stops_the_reader():
    texts = [
        "".join(DRAWN.choices(SIGNS, k=DRAWN.randrange(1, 12))) for _ in range(3000)
    ]
    for table, column in [
        ("inseminations", "dose_ul"),
        ("co2", "given_at"),
        ("inseminations", "attempts"),
        ("checks", "eggs"),
    ]:
        for order, decimal in [("dmy", ","), ("iso", ".")]:
            rule = CellRule(dates=order, decimal=decimal, year=2025)
            for form in (None, BOOK):
                found = read(table, column, texts, rule, form)
                assert len(found) == len(texts)
                for text, (value, unread) in zip(texts, found, strict=True):
                    blank = not text.replace("\u00a0", " ").strip()
                    assert (value is not None) + (unread is not None) == (
                        0 if blank else 1
                    ), text


def test_a_row_reads_the_same_whatever_other_rows_hold():
    texts = ["3.6.25", "13.6.25", "6.13.25", "8 ul", "8", "4+4", "x", "✓ HK"]
    for column, table in [
        ("given_at", "co2"),
        ("dose_ul", "inseminations"),
        ("eggs", "checks"),
    ]:
        together = read(table, column, texts, CellRule(dates="dmy"))
        alone = [
            read(table, column, [text], CellRule(dates="dmy"))[0] for text in texts
        ]
        assert together == alone


# --- the day of a month that stands elsewhere


@pytest.mark.parametrize("form", [None, BOOK])
def test_a_day_alone_is_of_the_month_set_for_its_file(form):
    texts = ["3", "03", " 3. ", "3rd", "31", "1er", "3 14:30", "fri 1"]
    days = (3, 3, 3, 3, 31, 1, 3, 1)
    expected = [at(dt.date(2026, 5, day)) for day in days]
    expected[6] = at(dt.date(2026, 5, 3), dt.time(14, 30))
    assert moments(texts, form, month="2026-05") == expected


def test_a_whole_day_stays_whole_beside_days_alone():
    texts = ["2026-06-02", "2.6.2026", "2 June 2026", "3"]
    june = at(dt.date(2026, 6, 2))
    expected = [june, june, june, at(dt.date(2026, 5, 3))]
    assert moments(texts, month="2026-05", dates="dmy") == expected


def test_a_day_alone_may_lie_days_after_the_one_that_is_written():
    assert moments(["1"], month="2026-05", days=-1) == [at(dt.date(2026, 4, 30))]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("31", "and 2026-06, the month set for its file, has no such day"),
        ("0", "and 2026-06, the month set for its file, has no such day"),
        ("32", "and 2026-06, the month set for its file, has no such day"),
        ("tue 1", "whose weekday is not that of its day: 2026-06-01 is a Monday"),
        ("3.5", "which is a number, or a day without its year"),
        ("3/5", "which has no year; write it in, or set year for its file"),
        ("123", "which is a number and no date"),
    ],
)
def test_a_figure_that_is_no_day_of_the_month_is_told(text, says):
    assert why("co2", "given_at", text, month="2026-06") == says


def test_without_a_month_a_day_alone_is_a_number():
    assert why("co2", "given_at", "3") == "which is a number and no date"
