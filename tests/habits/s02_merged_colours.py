"""One workbook with titles, merged and two-row headings, group lines, totals, colours."""

from datetime import date
from pathlib import Path

from lives import Life, Look, Plan, lives
from paper import Station, put, workbook

FOLDER = "02_merged_colours"
WORDS = """
# Tannhof: a queen book made to be looked at

- The two heading rows belong together: "1st look" and "Date" is the day of the first look.
- Graft and line are written once and merged over the queens they hold for.
- y and n are yes and no; an empty cell under a look means not looked for.
- A yellow queen number means that she is marked; a grey row that she is gone (her day stands
  under GONE). Yellow is kept nowhere else: `truth/colours.csv`.
- Yard lines, the counts below each yard and the totals at the foot are no records. The sheet
  "Sugar" is about feeding and is not to be read. "rain, not opened" was no look.
"""
YARDS = ("Oberfeld", "Mill bend", "Schanze")
LINES = ("T-Blue", "T-Grey", "Wald")
BY = ("Jana", "Emil")
GROUPS = ("1st look", "2nd look", "3rd look")
UNDER = ("Date", "Queen", "Eggs", "Larvae", "Capped", "Pattern", "Drone brood")
ENDS = {
    "dead": "dead",
    "missing": "not found",
    "superseded": "superseded",
    "drone_layer": "drone-layer",
    "culled_fault": "killed, bad brood",
    "culled_other": "killed, surplus",
    "sold": "sold",
    "moved": "moved",
    "colony_lost": "colony died",
}
FIRST_LOOK = 8
GONE = FIRST_LOOK + len(GROUPS) * len(UNDER)
YELLOW, GREY = "#FFF2A8", "#D0D0D0"
YN = {"yes": "y", "no": "n", "": ""}


def make(folder: Path) -> None:
    station = Station(folder, WORDS)
    plan = Plan(
        seed=2201, count=60, starts=date(2024, 5, 20), look_days=(9, 21, 50), a_graft=20
    )
    with workbook(station.record("Queen book 2024.xlsx")) as book:
        _Book(station, book).write(lives(plan))
    station.finish()


class _Book:
    def __init__(self, station: Station, book) -> None:
        self.station, self.book = station, book
        self.sheet = book.add_worksheet("Queens")
        self.forms: dict[tuple, object] = {}
        self.colours: list[tuple[str, ...]] = []

    def form(self, **how):
        key = tuple(sorted(how.items()))
        if key not in self.forms:
            self.forms[key] = self.book.add_format(how)
        return self.forms[key]

    def write(self, queens: list[Life]) -> None:
        row = self.headings()
        first = row
        for yard, name in enumerate(YARDS):
            row = self.yard(row, name, queens[yard * 20 : yard * 20 + 20])
        self.foot(row + 1, first, [q.doses[0].ul for q in queens if q.n != 44])
        sugar = self.book.add_worksheet("Sugar")
        rows = [
            ("Yard", "kg", "Day"),
            ("Oberfeld", 40, "Aug"),
            ("Schanze", 25.5, "Sep"),
        ]
        for i, line in enumerate(rows):
            for j, value in enumerate(line):
                put(sugar, i, j, value)
        for name, words in (("Why", ENDS),):
            for reason, said in words.items():
                self.station.word(name, said, reason=reason)
        self.station.extra["colours"] = (
            ("table", "key", "column", "value", "rgb"),
            self.colours,
        )

    def headings(self) -> int:
        bold = self.form(bold=True, align="center", border=1)
        last = GONE + 1
        title = self.form(bold=True, font_size=16)
        self.sheet.merge_range(0, 0, 0, last, "Tannhof - queen book 2024", title)
        self.sheet.merge_range(1, 0, 1, last, "looks by Jana if not said", self.form())
        for column, name in enumerate(("Graft", "Queen", "Line", "Emerged")):
            self.sheet.merge_range(3, column, 4, column, name, bold)
        self.group(4, "INSEMINATION", ("Date", "By", "\u00b5l", "Remarks"), bold)
        for k, name in enumerate(GROUPS):
            self.group(FIRST_LOOK + k * len(UNDER), name, UNDER, bold)
        self.group(GONE, "GONE", ("Date", "Why"), bold)
        self.sheet.freeze_panes(5, 2)
        return 5

    def group(self, column: int, name: str, under, bold) -> None:
        self.sheet.merge_range(3, column, 3, column + len(under) - 1, name, bold)
        for j, word in enumerate(under):
            self.sheet.write_string(4, column + j, word, bold)

    def yard(self, row: int, name: str, queens: list[Life]) -> int:
        band = self.form(bold=True, bg_color="#DDEBF7")
        self.sheet.merge_range(row, 0, row, GONE + 1, f"Yard {name}", band)
        row += 1
        middle = self.form(valign="vcenter")
        graft = f"G{queens[0].graft}"
        self.sheet.merge_range(row, 0, row + len(queens) - 1, 0, graft, middle)
        # her line is one for a whole half of the graft
        for half in (0, 10):
            line = LINES[(queens[0].graft + half // 10) % 3]
            top = row + half
            self.sheet.merge_range(top, 2, top + 9, 2, line, middle)
        for k, life in enumerate(queens):
            line = LINES[(queens[0].graft + k // 10) % 3]
            self.queen(row + k, life, graft, line)
        row += len(queens)
        self.sheet.write_string(row, 1, f"{name}: {len(queens)} queens", band)
        return row + 2

    def queen(self, row: int, life: Life, graft: str, line: str) -> None:
        station, name = self.station, f"T{life.n:02d}"
        fill = {"bg_color": GREY} if life.left else {}
        plain = self.form(**fill)
        day = self.form(num_format="d.m.yy", **fill)
        number = self.form(bg_color=YELLOW) if life.marked else plain
        if life.marked:
            self.colours.append(("queens", name, "marked", "yes", YELLOW[1:]))
        by, dose = BY[life.operator], life.doses[0].ul
        remark = {7: "small queen", 31: "sting hook slipped, fine"}.get(life.n, "")
        put(self.sheet, row, 1, name, number)
        for column, value in enumerate(
            (life.emerged, life.first.date(), by, dose, remark), start=3
        ):
            put(self.sheet, row, column, value, plain, day)
        if life.n == 44:
            self.sheet.write_string(row, 6, "8 / ?? smudged", plain)
            station.cannot_read(
                "inseminations",
                f"{name} {life.first.date()}",
                "dose_ul",
                "8 / ?? smudged",
            )
            dose = None
        station.true(
            "queens",
            queen_id=name,
            line=line,
            graft_batch=graft,
            emerged_on=life.emerged,
        )
        station.true(
            "inseminations", queen_id=name, inseminated_at=life.first.date(),
            operator=by, dose_ul=dose, note=remark,
        )  # fmt: skip
        for k, look in enumerate(life.looks):
            self.look(row, FIRST_LOOK + k * len(UNDER), name, look, fill)
        if life.n == 38:
            self.rained_off(row, name, len(life.looks))
        if life.left:
            put(self.sheet, row, GONE, life.left, plain, day)
            put(self.sheet, row, GONE + 1, ENDS[life.reason], plain)
            station.true("exits", queen_id=name, left_on=life.left, reason=life.reason)

    def rained_off(self, row: int, name: str, slot: int) -> None:
        """A look that was not made: one text merged over its cells, no day."""
        if slot >= len(GROUPS):
            raise ValueError(f"{name} has no empty look")
        left = FIRST_LOOK + slot * len(UNDER)
        said = "rain, not opened"
        self.sheet.merge_range(row, left, row, left + len(UNDER) - 1, said, self.form())
        self.station.cannot_read("checks", name, "checked_on", said)

    def look(self, row: int, column: int, name: str, look: Look, fill: dict) -> None:
        plain, per_cent = self.form(**fill), self.form(num_format="0%", **fill)
        day = self.form(num_format="d.m.yy", **fill)
        put(self.sheet, row, column, look.on, plain, day)
        for j, value in enumerate((look.seen, look.eggs, look.larvae, look.sealed), 1):
            put(self.sheet, row, column + j, YN[value], plain)
        if look.pattern is not None:
            put(self.sheet, row, column + 5, look.pattern / 100, per_cent)
        put(self.sheet, row, column + 6, look.drone, plain)
        self.station.true(
            "checks", queen_id=name, checked_on=look.on, queen_seen=look.seen,
            eggs=look.eggs, larvae=look.larvae, sealed=look.sealed,
            pattern_pct=look.pattern, drone_in_worker=look.drone,
        )  # fmt: skip

    def foot(self, row: int, first: int, doses: list[float]) -> None:
        bold = self.form(bold=True)
        self.sheet.write_string(row, 0, "Total", bold)
        mean = round(sum(doses) / len(doses), 6)
        span = f"G{first + 1}:G{row - 1}"
        self.sheet.write_formula(row, 6, f"=AVERAGE({span})", bold, mean)
        self.sheet.write_number(row, 1, len(doses) + 1, bold)
        self.sheet.write_string(
            row + 2, 1, "yellow = marked", self.form(bg_color=YELLOW)
        )
        self.sheet.write_string(row + 3, 1, "grey = gone", self.form(bg_color=GREY))
