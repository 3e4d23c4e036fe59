"""The quick walk over a log's bytes: stamps to milliseconds, numbers to scaled integers, words to codes.

One source, compiled where a compiler was found and run as plain Python elsewhere. It reads what is
plainly in order and hands every other line on by its place in the text ("odd"): the careful reader
judges those. So nothing here may accept what the careful reader would refuse, and nothing is skipped.

The text must end with a line feed, and no scratch array may be shared between threads.
"""

from __future__ import annotations

try:
    import cython
except ImportError:  # not needed at run time: the file then runs as it stands
    from slackwater.reading import interpreted as cython

compiled = bool(cython.compiled)

# Kinds of a column (roles point from a file's column to its slot; a negative role is not read)
NUMBER, WORD, SERIAL, STAMP, CLOCK = 0, 1, 2, 3, 4
# Places in `tally`
ROWS, ODD, BLANK, TOO_LONG, DISTINCT, SERIALS, LINES = 0, 1, 2, 3, 4, 5, 6
LONGEST_LINE = 65_536  # bytes
MOST_DIGITS = 18  # of a number that the quick walk reads
MOST_DISTINCT = 24  # flow values counted as different
MOST_SERIALS = 64


@cython.cfunc
@cython.inline
@cython.exceptval(check=False)
def _two(text: cython.p_uchar, at: cython.Py_ssize_t) -> cython.int:
    """Two digits as a number, or -1."""
    a: cython.int = text[at] - 48
    if a < 0 or a > 9:
        return -1
    b: cython.int = text[at + 1] - 48
    if b < 0 or b > 9:
        return -1
    return a * 10 + b


@cython.cfunc
@cython.inline
@cython.exceptval(check=False)
def _day_ms(year: cython.longlong, month: cython.longlong, day: cython.longlong) -> cython.longlong:
    """Milliseconds from 1970 to the start of a day, or -1 if the calendar has no such day."""
    days: cython.longlong
    if year < 1970 or year > 2199 or month < 1 or month > 12 or day < 1:
        return -1
    if month == 2:
        days = 29 if year % 4 == 0 and (year % 100 != 0 or year % 400 == 0) else 28
    elif month == 4 or month == 6 or month == 9 or month == 11:
        days = 30
    else:
        days = 31
    if day > days:
        return -1
    if month <= 2:  # a year that ends with February
        year -= 1
        month += 9
    else:
        month -= 3
    days = 365 * year + year // 4 - year // 100 + year // 400 + (153 * month + 2) // 5 + day - 1 - 719468
    return days * 86400000


@cython.cfunc
@cython.inline
@cython.exceptval(check=False)
def _offset(text: cython.p_uchar, at: cython.Py_ssize_t, found: cython.longlong[::1]) -> cython.Py_ssize_t:
    """An offset (Z, +02:00, +0200, +02) into found[1], ms; its end, or -1."""
    hours: cython.int
    minutes: cython.int = 0
    mark: cython.int = text[at]
    if mark == 90 or mark == 122:  # Z z
        found[1] = 0
        return at + 1
    hours = _two(text, at + 1)
    if hours < 0:
        return -1
    at += 3
    if text[at] == 58:  # :
        minutes = _two(text, at + 1)
        if minutes < 0:
            return -1
        at += 3
    elif 48 <= text[at] <= 57:
        minutes = _two(text, at)
        if minutes < 0:
            return -1
        at += 2
    if minutes > 59 or hours * 60 + minutes > 1080:
        return -1
    found[1] = (hours * 60 + minutes) * 60000
    if mark == 45:  # -
        found[1] = -found[1]
    return at


@cython.cfunc
@cython.exceptval(check=False)
def _iso(text: cython.p_uchar, at: cython.Py_ssize_t, found: cython.longlong[::1]) -> cython.Py_ssize_t:
    """An ISO 8601 stamp at `at`: its ms into found[0], whether it is wall-clock into found[2]; its end, or -1.

    found[3] and found[4] keep the last day as a number and its ms, since most rows share a day.
    """
    century: cython.int = _two(text, at)
    if century < 0:
        return -1
    rest: cython.int = _two(text, at + 2)
    if rest < 0 or text[at + 4] != 45:
        return -1
    month: cython.int = _two(text, at + 5)
    if month < 0 or text[at + 7] != 45:
        return -1
    day: cython.int = _two(text, at + 8)
    if day < 0:
        return -1
    mark: cython.int = text[at + 10]
    if mark != 84 and mark != 32 and mark != 116:  # T, space, t
        return -1
    at += 11
    if mark == 32:
        while text[at] == 32:
            at += 1
    hour: cython.int = _two(text, at)
    if hour < 0 or hour > 23 or text[at + 2] != 58:
        return -1
    minute: cython.int = _two(text, at + 3)
    if minute < 0 or minute > 59:
        return -1
    at += 5
    second: cython.int = 0
    fraction: cython.int = 0
    digits: cython.int
    if text[at] == 58:
        second = _two(text, at + 1)
        if second < 0 or second > 59:
            return -1
        at += 3
        # a comma here may be the separator: the careful reader knows, since it has the cell
        if text[at] == 46:
            at += 1
            digits = 0
            while 48 <= text[at] <= 57:
                if digits < 3:
                    fraction = fraction * 10 + (text[at] - 48)
                digits += 1
                at += 1
            if digits == 0 or digits > 9:
                return -1
            while digits < 3:
                fraction *= 10
                digits += 1
    key: cython.longlong = ((century * 100 + rest) * 100 + month) * 100 + day
    if key != found[3]:
        start: cython.longlong = _day_ms(century * 100 + rest, month, day)
        if start < 0:
            return -1
        found[3] = key
        found[4] = start
    ms: cython.longlong = found[4] + ((hour * 60 + minute) * 60 + second) * 1000 + fraction
    mark = text[at]
    if mark == 90 or mark == 122 or mark == 43 or mark == 45:  # Z z + -
        at = _offset(text, at, found)
        if at < 0:
            return -1
        found[0] = ms - found[1]
        found[2] = 0
    else:
        found[0] = ms
        found[2] = 1
    return at


@cython.cfunc
@cython.exceptval(check=False)
def _by_program(
    text: cython.p_uchar, at: cython.Py_ssize_t, program: cython.int[:, ::1], found: cython.longlong[::1]
) -> cython.Py_ssize_t:
    """A stamp by its format's program of (operation, argument); as `_iso`."""
    steps: cython.Py_ssize_t = program.shape[0]
    n: cython.Py_ssize_t
    op: cython.int
    value: cython.int
    digits: cython.int
    year: cython.longlong = 0
    month: cython.longlong = 0
    day: cython.longlong = 0
    hour: cython.longlong = 0
    minute: cython.longlong = 0
    second: cython.longlong = 0
    fraction: cython.longlong = 0
    half: cython.int = -1
    away: cython.longlong = 0
    wall: cython.int = 1
    for n in range(steps):
        op = program[n, 0]
        if op == 0:  # a literal byte
            if text[at] != program[n, 1]:
                return -1
            at += 1
        elif op == 32:  # spaces
            if text[at] != 32:
                return -1
            while text[at] == 32:
                at += 1
        elif op == 89:  # Y
            value = _two(text, at)
            if value < 0:
                return -1
            year = value * 100
            value = _two(text, at + 2)
            if value < 0:
                return -1
            year += value
            at += 4
        elif op == 102:  # f
            digits = 0
            while 48 <= text[at] <= 57:
                if digits < 3:
                    fraction = fraction * 10 + (text[at] - 48)
                digits += 1
                at += 1
            if digits == 0 or digits > 9:
                return -1
            while digits < 3:
                fraction *= 10
                digits += 1
        elif op == 112:  # p
            value = text[at] | 32
            if value == 97:
                half = 0
            elif value == 112:
                half = 12
            else:
                return -1
            if (text[at + 1] | 32) != 109:
                return -1
            at += 2
        elif op == 122:  # z
            value = text[at]
            if value != 90 and value != 122 and value != 43 and value != 45:
                return -1
            at = _offset(text, at, found)
            if at < 0:
                return -1
            away = found[1]
            wall = 0
        else:
            value = text[at] - 48
            if value < 0 or value > 9:
                return -1
            at += 1
            if 48 <= text[at] <= 57:
                value = value * 10 + (text[at] - 48)
                at += 1
            elif program[n, 1] == 2:
                return -1
            if op == 109:  # m
                month = value
            elif op == 100:  # d
                day = value
            elif op == 72:  # H
                hour = value
            elif op == 77:  # M
                minute = value
            elif op == 83:  # S
                second = value
            elif op == 73:  # I
                if value < 1 or value > 12:
                    return -1
                hour = value % 12
            else:  # y
                year = value + (1900 if value >= 70 else 2000)
    if half > 0:
        hour += half
    if hour > 23 or minute > 59 or second > 59:
        return -1
    key: cython.longlong = (year * 100 + month) * 100 + day
    if key != found[3]:
        start: cython.longlong = _day_ms(year, month, day)
        if start < 0:
            return -1
        found[3] = key
        found[4] = start
    found[0] = found[4] + ((hour * 60 + minute) * 60 + second) * 1000 + fraction - away
    found[2] = wall
    return at


@cython.cfunc
@cython.inline
@cython.exceptval(check=False)
def _same(
    text: cython.p_uchar,
    a: cython.Py_ssize_t,
    b: cython.Py_ssize_t,
    other: cython.p_uchar,
    c: cython.Py_ssize_t,
    d: cython.Py_ssize_t,
) -> cython.int:
    """Whether text[a:b] and other[c:d] are the same bytes."""
    if b - a != d - c:
        return 0
    n: cython.Py_ssize_t
    for n in range(b - a):
        if text[a + n] != other[c + n]:
            return 0
    return 1


@cython.cfunc
@cython.inline
@cython.exceptval(check=False)
def _missing(
    text: cython.p_uchar,
    at: cython.Py_ssize_t,
    texts: cython.p_uchar,
    ends: cython.int[::1],
    classes: cython.p_uchar,
) -> cython.Py_ssize_t:
    """The end of a 'missing' text that begins at `at` and ends where a cell may end; or -1."""
    k: cython.Py_ssize_t
    n: cython.Py_ssize_t
    begin: cython.Py_ssize_t = 0
    length: cython.Py_ssize_t
    for k in range(ends.shape[0]):
        length = ends[k] - begin
        n = 0
        while n < length and text[at + n] == texts[begin + n]:
            n += 1
        if n == length and length > 0 and classes[text[at + n]] != 0:
            return at + n
        begin = ends[k]
    return -1


def scan(
    data: bytes,
    begin: cython.Py_ssize_t,
    first_line: cython.longlong,
    separator: cython.int,
    quote: cython.int,
    decimal: cython.int,
    class_table: bytes,
    roles: cython.int[::1],
    kinds: cython.int[::1],
    negate: cython.int[::1],
    low: cython.longlong[::1],
    high: cython.longlong[::1],
    times: cython.longlong[:, ::1],
    over: cython.longlong[:, ::1],
    safe: cython.longlong[:, ::1],
    missing_texts: bytes,
    missing_ends: cython.int[::1],
    missing_first: bytes,
    word_texts: bytes,
    word_ends: cython.int[::1],
    word_slots: cython.int[::1],
    word_codes: cython.int[::1],
    program: cython.int[:, ::1],
    stamp_pieces: cython.int,
    buffer: bytearray,
    found: cython.longlong[::1],
    pieces: cython.longlong[:, ::1],
    last_words: cython.longlong[:, ::1],
    time_ms: cython.longlong[::1],
    wall: cython.uchar[::1],
    line_of: cython.int[::1],
    values: cython.int[:, ::1],
    odd: cython.longlong[:, ::1],
    tally: cython.longlong[::1],
    divisors: cython.longlong[::1],
    distinct: cython.longlong[:, ::1],
    serials: cython.longlong[:, ::1],
):
    """Read the rows of `data` from `begin` on into the arrays; see the module's first lines.

    class_table: what a byte is at the end of a cell: 0 text, 1 separator, 2 line end, 3 quote, 4 space,
    5 control. roles[column] -> slot; slot 0 is flow. times/over/safe [slot, decimals]: a printed mantissa
    m becomes m * times / over, half to even, while m <= safe. odd[n]: line, start, end of a line not read.
    divisors[decimals]: greatest common divisor of the flow's mantissas. tally: see above.
    """
    text: cython.p_uchar = data
    classes: cython.p_uchar = class_table
    missing: cython.p_uchar = missing_texts
    missing_start: cython.p_uchar = missing_first
    words: cython.p_uchar = word_texts
    stamp: cython.p_uchar = buffer
    end: cython.Py_ssize_t = len(data)
    at: cython.Py_ssize_t = begin
    p: cython.Py_ssize_t
    q: cython.Py_ssize_t
    n: cython.Py_ssize_t
    cell: cython.Py_ssize_t
    line_start: cython.Py_ssize_t
    line: cython.longlong = first_line
    columns: cython.Py_ssize_t = roles.shape[0]
    word_count: cython.Py_ssize_t = word_ends.shape[0]
    word_begin: cython.Py_ssize_t
    column: cython.Py_ssize_t
    slot: cython.int
    kind: cython.int
    cls: cython.int
    byte: cython.int
    good: cython.int
    quoted: cython.int
    blank: cython.int
    negative: cython.int
    digits: cython.int
    places: cython.int
    none: cython.int = -2147483648
    iso: cython.int = program.shape[0] == 0
    mantissa: cython.longlong
    scaled: cython.longlong
    rest: cython.longlong
    divisor: cython.longlong
    other: cython.longlong
    clock: cython.longlong = 0
    row: cython.Py_ssize_t = 0
    odds: cython.Py_ssize_t = 0
    blanks: cython.longlong = 0
    seen: cython.Py_ssize_t = 0
    serial_count: cython.Py_ssize_t = 0
    serial_from: cython.Py_ssize_t = 0
    serial_to: cython.Py_ssize_t = 0
    last_flow: cython.longlong = -1
    last_places: cython.int = -1

    while at < end:
        line_start = at
        p = at
        while classes[text[p]] == 4:
            p += 1
        if classes[text[p]] == 2:
            blanks += 1
            at = p
        else:
            good = 1
            column = 0
            p = at
            found[2] = 0
            last_flow = -1
            serial_to = 0
            while True:
                if column >= columns:
                    good = 0
                    break
                slot = roles[column]
                # -- where the cell begins
                while classes[text[p]] == 4:
                    p += 1
                quoted = 0
                if classes[text[p]] == 3:
                    quoted = 1
                    p += 1
                    while text[p] == 32:
                        p += 1
                kind = -1
                if slot >= 0:
                    kind = kinds[slot]
                if kind == 0 or kind == 4:  # a number, or a clock that is one
                    blank = 0
                    cls = classes[text[p]]
                    if cls == 1 or cls == 2 or (cls == 3 and quoted == 1):
                        if cls == 1 and quoted == 1:
                            good = 0
                            break
                        blank = 1
                    elif missing_start[text[p]] != 0:
                        q = _missing(text, p, missing, missing_ends, classes)
                        if q >= 0:
                            blank = 1
                            p = q
                    if blank:
                        if kind == 4:
                            good = 0
                            break
                        values[slot, row] = none
                    else:
                        negative = 0
                        byte = text[p]
                        if byte == 45 or byte == 43:  # - +
                            negative = byte == 45
                            p += 1
                        elif byte == 226 and text[p + 1] == 136 and text[p + 2] == 146:  # the minus sign U+2212
                            negative = 1
                            p += 3
                        mantissa = 0
                        digits = 0
                        places = 0
                        byte = text[p] - 48
                        while 0 <= byte <= 9:
                            mantissa = mantissa * 10 + byte
                            digits += 1
                            if digits > 15:
                                break
                            p += 1
                            byte = text[p] - 48
                        if digits > 15:
                            good = 0
                            break
                        if text[p] == decimal and (quoted == 1 or decimal != separator):
                            p += 1
                            byte = text[p] - 48
                            while 0 <= byte <= 9:
                                mantissa = mantissa * 10 + byte
                                places += 1
                                if places > 15 or digits + places > 18:
                                    break
                                p += 1
                                byte = text[p] - 48
                            if places > 15 or digits + places > 18:
                                good = 0
                                break
                        if digits + places == 0:
                            good = 0
                            break
                        if mantissa > safe[slot, places]:
                            good = 0
                            break
                        scaled = mantissa * times[slot, places]
                        divisor = over[slot, places]
                        if divisor != 1:
                            rest = scaled % divisor
                            scaled = scaled // divisor
                            if 2 * rest > divisor or (2 * rest == divisor and (scaled & 1) == 1):
                                scaled += 1
                        if negative != negate[slot]:
                            scaled = -scaled
                        if scaled < low[slot] or scaled > high[slot]:
                            good = 0
                            break
                        if kind == 4:
                            clock = scaled
                        else:
                            values[slot, row] = scaled
                            if slot == 0:
                                # found here, used when the row is good: see the end of the row
                                last_flow = mantissa
                                last_places = places
                elif kind == 1:  # a word
                    cell = p
                    cls = classes[text[p]]
                    while cls == 0 or cls == 4:
                        p += 1
                        cls = classes[text[p]]
                    q = p
                    while q > cell and classes[text[q - 1]] == 4:
                        q -= 1
                    if q == cell or (
                        missing_start[text[cell]] != 0 and _missing(text, cell, missing, missing_ends, classes) == q
                    ):
                        values[slot, row] = none
                    elif last_words[slot, 2] >= 0 and _same(
                        text, cell, q, text, last_words[slot, 0], last_words[slot, 1]
                    ):
                        values[slot, row] = last_words[slot, 2]
                    else:
                        good = 0
                        word_begin = 0
                        for n in range(word_count):
                            if word_slots[n] == slot and _same(text, cell, q, words, word_begin, word_ends[n]):
                                good = 1
                                values[slot, row] = word_codes[n]
                                last_words[slot, 0] = cell
                                last_words[slot, 1] = q
                                last_words[slot, 2] = word_codes[n]
                                break
                            word_begin = word_ends[n]
                        if good == 0:  # a missing text, or a word the layout does not know
                            break
                elif kind == 3 and stamp_pieces == 1:  # the stamp in one cell
                    if iso:
                        p = _iso(text, p, found)
                    else:
                        p = _by_program(text, p, program, found)
                    if p < 0:
                        p = line_start
                        good = 0
                        break
                    clock = found[0]
                else:  # a piece of a stamp, a serial number, or a cell that is not read
                    cell = p
                    cls = classes[text[p]]
                    while cls == 0 or cls == 4 or (cls == 1 and quoted == 1):
                        p += 1
                        cls = classes[text[p]]
                    if kind >= 0:
                        q = p
                        while q > cell and classes[text[q - 1]] == 4:
                            q -= 1
                        if kind == 3:
                            if q == cell:
                                good = 0
                                break
                            pieces[slot, 0] = cell
                            pieces[slot, 1] = q
                        elif q > cell and (
                            missing_start[text[cell]] == 0 or _missing(text, cell, missing, missing_ends, classes) != q
                        ):
                            serial_from = cell
                            serial_to = q
                # -- where the cell ends
                if quoted == 1:
                    while text[p] == 32:
                        p += 1
                    if classes[text[p]] != 3:
                        good = 0
                        break
                    p += 1
                cls = classes[text[p]]
                while cls == 4:
                    p += 1
                    cls = classes[text[p]]
                if cls == 1:
                    p += 1
                    column += 1
                elif cls == 2:
                    if column + 1 != columns:
                        good = 0
                    break
                else:
                    good = 0
                    break
            if good and stamp_pieces > 1:
                q = 0
                for n in range(stamp_pieces):
                    cell = pieces[kinds.shape[0] - stamp_pieces + n, 0]
                    column = pieces[kinds.shape[0] - stamp_pieces + n, 1]
                    if q + column - cell > 250:
                        good = 0
                        break
                    if n > 0:
                        stamp[q] = 32
                        q += 1
                    while cell < column:
                        stamp[q] = text[cell]
                        q += 1
                        cell += 1
                if good:
                    stamp[q] = 10
                    if iso:
                        n = _iso(stamp, 0, found)
                    else:
                        n = _by_program(stamp, 0, program, found)
                    if n != q:
                        good = 0
                    clock = found[0]
            if good:
                time_ms[row] = clock
                wall[row] = found[2]
                line_of[row] = line
                if serial_to > 0:
                    for n in range(serial_count):
                        # the latest is tried first: a log seldom changes its serial number
                        cell = serials[serial_count - 1 - n, 0]
                        if _same(text, serial_from, serial_to, text, cell, serials[serial_count - 1 - n, 1]):
                            break
                    else:
                        if serial_count < 64:
                            serials[serial_count, 0] = serial_from
                            serials[serial_count, 1] = serial_to
                            serials[serial_count, 2] = line
                            serial_count += 1
                if last_flow >= 0:
                    divisor = divisors[last_places]
                    if divisor == 0:
                        divisors[last_places] = last_flow if last_flow > 0 else -1
                    elif divisor == -1:  # only zeros so far
                        if last_flow > 0:
                            divisors[last_places] = last_flow
                    elif divisor > 1 and last_flow % divisor != 0:
                        other = last_flow
                        while other != 0:
                            rest = divisor % other
                            divisor = other
                            other = rest
                        divisors[last_places] = divisor
                    if seen < 24:
                        for n in range(seen):
                            if distinct[n, 0] == last_flow and distinct[n, 1] == last_places:
                                break
                        else:
                            distinct[seen, 0] = last_flow
                            distinct[seen, 1] = last_places
                            seen += 1
                row += 1
                at = p
            else:
                while text[p] != 10 and text[p] != 13 and p - line_start <= 65536:  # longer ones end the walk
                    p += 1
                odd[odds, 0] = line
                odd[odds, 1] = line_start
                odd[odds, 2] = p
                odds += 1
                at = p
        if at - line_start > 65536:
            tally[3] = line
            break
        # -- over the line's end: LF, CR LF or CR
        if text[at] == 13 and at + 1 < end and text[at + 1] == 10:
            at += 1
        at += 1
        line += 1
    tally[0] = row
    tally[1] = odds
    tally[2] = blanks
    tally[4] = seen
    tally[5] = serial_count
    tally[6] = line - first_line
