"""Files from outside, read whole or refused in one line: ordinary files of bounded size, text in
UTF-8, tables of bounded rows and columns.
"""

import csv
import io
import os
import re
import stat
import zipfile
from pathlib import Path

MEGABYTE = 1_000_000
LONGEST_CELL = 10_000  # characters; a longer one is text that lost its closing quote
MOST_DOTS = 10  # of a dotted key: readers of TOML take the square of their number
# texts and comments of TOML; one that is not closed reaches to the end of its line or of the file
TEXTS = re.compile(
    r'"""(?:\\.|[^\\])*?(?:"""|\Z)' + r"|'''.*?(?:'''|\Z)"
    r'|"(?:\\[^\n]|[^"\\\n])*"?' + r"|'[^'\n]*'?|#[^\n]*",
    re.DOTALL,
)


def one_line(text):
    """Text on one line, of characters that can be shown.

    Parameters
    ----------
    text : str
        Anything, e.g. a message that quotes a file

    Returns
    -------
    text : str
        With spaces for what cannot be shown
    """
    return "".join(c if c.isprintable() else " " for c in str(text))


def named(path, kind):
    """A path, whatever was given for it.

    Parameters
    ----------
    path : str or Path
        The file
    kind : str
        What it should be, for messages

    Returns
    -------
    path : Path
        As given

    Raises
    ------
    ValueError
        One line: it is no name of a file
    """
    try:
        return Path(path)
    except TypeError:
        raise ValueError(f"{kind}: {path!r} is no name of a file.") from None


def name_of(path):
    """Name of a file for messages.

    Parameters
    ----------
    path : str or Path
        The file

    Returns
    -------
    name : str
        On one line; the path itself where it has no name, such as "."
    """
    return one_line(Path(path).name or path)


def inside(folder, name):
    """Path of a file that another file names and that must lie in a folder.

    Parameters
    ----------
    folder : str or Path
        Where it may lie, in folders of this one too
    name : str
        As the other file has it

    Returns
    -------
    path : Path
        Within the folder, links followed; whether there is such a file is not looked at

    Raises
    ------
    ValueError
        One line: the name is absolute, leads out of the folder by ".." or by a link, or is none
    """
    said = one_line(name)[:100]
    plain = Path(name)
    if not name.strip() or plain.is_absolute() or plain.drive or ".." in re.split(r"[/\\]", name):
        raise ValueError(f"file '{said}' must be named by its path within the scenario's folder.")
    try:
        leads_to, home = (Path(folder) / plain).resolve(), Path(folder).resolve()
    except (OSError, ValueError, RuntimeError) as error:  # a link to itself, a zero byte
        raise ValueError(f"file '{said}' cannot be found. ({one_line(error)})") from None
    if not leads_to.is_relative_to(home):
        raise ValueError(f"file '{said}' is a link that leads out of the scenario's folder.")
    return Path(folder) / plain


def check_file(path, kind, most):
    """Refuse what is no ordinary file of bounded size, for readers that open it themselves.

    Parameters
    ----------
    path : str or Path
        The file
    kind : str
        What it should be, for messages
    most : int
        Size above which it cannot be one [bytes]

    Raises
    ------
    ValueError
        As for ``file_bytes``
    """
    with _opened(path, kind) as file:
        size = os.fstat(file.fileno()).st_size
    if size > most:
        raise ValueError(f"{name_of(path)}: is larger than {_size(most)}, so it is no {kind}.")


def file_bytes(path, kind, most):
    """Contents of an ordinary file.

    Parameters
    ----------
    path : str or Path
        The file
    kind : str
        What it should be, for messages, e.g. "price book"
    most : int
        Size above which it cannot be one [bytes]

    Returns
    -------
    data : bytes
        All of it

    Raises
    ------
    ValueError
        One line: there is no such file, it may not be read, it is a folder, a pipe or a device, or
        it is too large
    """
    with _opened(path, kind) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise ValueError(f"{name_of(path)}: is larger than {_size(most)}, so it is no {kind}.")
    return data


def _opened(path, kind):
    """An ordinary file, opened."""
    path = named(path, kind)
    name = name_of(path)
    try:
        # a pipe that nobody writes to must not wait
        handle = os.open(
            path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        )
    except (FileNotFoundError, NotADirectoryError):
        raise ValueError(f"{name}: there is no such {kind}.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or one_line(error)
        raise ValueError(f"{name}: the {kind} cannot be opened. ({why})") from None
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise ValueError(f"{name}: is no ordinary file, so it is no {kind}.")
    return os.fdopen(handle, "rb")


def _size(count):
    """Size in words."""
    return f"{count / MEGABYTE:g} MB" if count >= MEGABYTE else f"{count / 1000:g} kB"


def file_text(path, kind, most):
    """Text of an ordinary file.

    Parameters
    ----------
    path : str or Path
        The file
    kind : str
        What it should be, for messages
    most : int
        Size above which it cannot be one [bytes]

    Returns
    -------
    text : str
        Without a byte order mark

    Raises
    ------
    ValueError
        One line: as for ``file_bytes``, or it is not UTF-8 text
    """
    try:
        return file_bytes(path, kind, most).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ValueError(
            f"{name_of(path)}: is not UTF-8 text. Save it in UTF-8. Was it saved by a"
            " word processor?"
        ) from None


def check_keys(text):
    """Refuse TOML with a dotted key of so many parts that reading it would take minutes.

    Parameters
    ----------
    text : str
        TOML, not yet read

    Raises
    ------
    ValueError
        One line that names the line: a key has more than MOST_DOTS dots
    """
    plain = TEXTS.sub(lambda found: "x" + "\n" * found[0].count("\n"), text)
    for number, line in enumerate(plain.split("\n"), 1):
        if max(part.count(".") for part in re.split(r"[,=\[\]{}]", line)) > MOST_DOTS:
            raise ValueError(
                f"Line {number} has a key of more than {MOST_DOTS + 1} parts. Is a quote missing?"
            )


def plain_number(text):
    """A number as people and other programs write it, in ASCII digits.

    Parameters
    ----------
    text : str
        Of a cell

    Returns
    -------
    number : float
        May be NaN or infinite; the reader refuses those [any]

    Raises
    ------
    ValueError
        One line: it is no such number; Python alone would take 1_0 for ten
    """
    try:
        if not text.isascii() or "_" in text:
            raise ValueError
        return float(text)
    except ValueError:
        raise ValueError(f"{one_line(text)[:40]!r} is not a plain decimal number.") from None


def csv_rows(text, name, *, delimiter=",", most_rows, most_columns):
    """Rows of a table that are not empty.

    Parameters
    ----------
    text : str
        CSV
    name : str
        Of the file, for messages
    delimiter : str
        Between the cells
    most_rows, most_columns : int
        More cannot be meant [-]

    Returns
    -------
    rows : list of tuple
        (number of the line on which the row ends, its cells as list of str)

    Raises
    ------
    ValueError
        One line that names file and line on which the row begins: an unclosed quote, a cell longer
        than LONGEST_CELL, too many rows or columns
    """
    # not str.splitlines, which ends lines at characters that a cell may hold
    lines = io.StringIO(text, newline="")
    reader, rows, begun = csv.reader(lines, delimiter=delimiter, strict=True), [], 1
    try:
        for row in reader:
            where, begun = f"{name}, line {begun}", reader.line_num + 1
            if not any(cell.strip() for cell in row):
                continue
            if len(row) > most_columns:
                raise ValueError(f"{where}: has {len(row)} columns, more than {most_columns}.")
            if max(map(len, row)) > LONGEST_CELL:
                raise ValueError(
                    f"{where}: a cell is longer than {LONGEST_CELL} characters. Is a closing quote"
                    " missing?"
                )
            if len(rows) == most_rows:
                raise ValueError(f"{where}: more than {most_rows} rows.")
            rows.append((reader.line_num, row))
    except csv.Error as error:
        raise ValueError(
            f"{name}, line {begun}: is not a row of CSV. Is a quote not closed? ({one_line(error)})"
        ) from None
    return rows


def unpacked(data, name, kind, most):
    """A zipped file (XLSX among them) whose contents unpack to a bounded size.

    Parameters
    ----------
    data : bytes
        Of the file
    name : str
        Of the file, for messages
    kind : str
        What it should be, for messages
    most : int
        Unpacked size above which it cannot be one [bytes]

    Returns
    -------
    file : BytesIO
        To be read by a library

    Raises
    ------
    ValueError
        One line: it is no such file, or unpacks to more
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(part.file_size for part in packed.infolist())
    except Exception as error:  # a damaged archive fails in many ways
        raise ValueError(
            f"{name}: cannot be read as a {kind}. Damaged, or cut short? ({type(error).__name__})"
        ) from None
    if size > most:
        raise ValueError(f"{name}: unpacks to more than {_size(most)}, so it is no {kind}.")
    return io.BytesIO(data)
