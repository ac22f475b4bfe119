"""Starts JupyterLab with a workbook and prints where to open it, on any machine: as root, in a
container, without a browser.
"""

import importlib.util
import json
import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
import webbrowser
from pathlib import Path
from urllib.parse import quote

from ..venue.texts import check_name
from ..venue.writing_files import file_words, write_file

ROOT = Path(__file__).resolve().parents[2]
WORKBOOK = ROOT / "workbooks" / "design_meeting.ipynb"
NEW_SCHOOL = ROOT / "workbooks" / "new_school.ipynb"
STARTS_WITHIN = 180.0  # a busy machine needs a minute [s]
LOOK_AGAIN = 0.2  # [s]
CONNECTION = "gymtools.display.kernel_connection.KernelConnection"
# machine code is made while the server starts and the page loads
WARM_UP = (sys.executable, "-m", "gymtools.acoustics.warm_up")


def open_workbook(workbook=WORKBOOK, *, host="127.0.0.1", port=0, browser=True):
    """Start JupyterLab, print the address of a workbook, and wait until the server ends or Ctrl+C
    is pressed.

    Parameters
    ----------
    workbook : str or Path
        A notebook
    host : str
        Interface that the server listens on; "0.0.0.0" for all of a container
    port : int
        Port that it listens on; 0 picks a free one [-]
    browser : bool
        Whether a browser is opened, where there is one

    Raises
    ------
    ValueError
        JupyterLab is not installed, there is no such notebook, the port is taken, or the server
        does not start
    """
    try:
        workbook = Path(workbook).resolve()
    except RuntimeError:  # links that lead to each other
        raise ValueError(f"{workbook}: its links lead in a circle.") from None
    if not workbook.is_file() or workbook.suffix != ".ipynb":
        raise ValueError(f"{workbook.name}: there is no such notebook.")
    if importlib.util.find_spec("jupyterlab") is None:
        raise ValueError("JupyterLab is not installed. Run: pip install -r requirements.txt")
    folder = ROOT if workbook.is_relative_to(ROOT) else workbook.parent
    token, port = secrets.token_hex(16), free_port(host, port)
    seen_at = "127.0.0.1" if host == "0.0.0.0" else host
    path = quote(workbook.relative_to(folder).as_posix())
    with tempfile.TemporaryFile("w+") as log:
        server = subprocess.Popen(
            server_command(folder, host=host, port=port),
            # a command line is seen by everybody; a notebook of another folder finds the package
            env={**os.environ, "JUPYTER_TOKEN": token, "PYTHONPATH": _import_path()},
            stdout=log,
            stderr=log,
            start_new_session=True,  # Ctrl+C reaches this process alone, which ends the server
        )
        warming = subprocess.Popen(
            WARM_UP,
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        try:
            _end_on_terminate()
            _wait_for(server, f"http://{seen_at}:{port}/api/status?token={token}", log)
            _say(f"http://{seen_at}:{port}/lab/tree/{path}?token={token}", browser)
            server.wait()
        except KeyboardInterrupt:
            print("\nStopped.", flush=True)
        finally:
            for process in (warming, server):
                process.terminate()
                process.wait()


def new_workbook(folder, name="", copied_from=""):
    """A notebook in which a school is written down, in the folder where its file will be.

    Parameters
    ----------
    folder : str or Path
        Where the school's file is written
    name : str
        Of the school
    copied_from : str or Path
        File of another school to begin as a copy of

    Returns
    -------
    path : Path
        The notebook; one that is there is left as it is, and goes on from its draft

    Raises
    ------
    ValueError
        The name cannot be one
    OSError
        The notebook cannot be written
    """
    if name:
        check_name("name", name)
    path = Path(folder) / f"{file_words(name, 'new-school')}.ipynb"
    if path.exists():
        return path
    book = json.loads(NEW_SCHOOL.read_text(encoding="utf-8"))
    copied = os.path.relpath(copied_from, folder) if copied_from else ""
    given = {"name": name, "folder": ".", "copied_from": copied}
    for cell in book["cells"]:
        if "parameters" in cell["metadata"].get("tags", ()):
            cell["source"] = "\n".join(f"{key} = {value!r}" for key, value in given.items())
    write_file(path, json.dumps(book, ensure_ascii=False, indent=1) + "\n", overwrite=False)
    return path


def server_command(folder, *, host, port, root=None):
    """Command that starts JupyterLab.

    Parameters
    ----------
    folder : Path
        That notebooks are served from
    host : str
        Interface that it listens on
    port : int
        Port that it listens on [-]
    root : bool, optional
        Whether it runs as root; asked of the system when left out

    Returns
    -------
    command : list of str
        For ``subprocess``
    """
    root = hasattr(os, "geteuid") and os.geteuid() == 0 if root is None else root
    return [
        *(sys.executable, "-m", "jupyterlab", "--no-browser"),
        *(["--allow-root"] if root else []),
        f"--ServerApp.ip={host}",
        f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0",
        f"--ServerApp.root_dir={folder}",
        f"--LabApp.app_settings_dir={ROOT / '.jupyter'}",
        f"--ServerApp.kernel_websocket_connection_class={CONNECTION}",
    ]


def free_port(host, port=0):
    """Port that nothing listens on.

    Parameters
    ----------
    host : str
        Interface
    port : int
        Port that is wanted; 0 for any [-]

    Returns
    -------
    port : int
        The one wanted, or a free one [-]

    Raises
    ------
    ValueError
        Something listens on the port that is wanted, or there is no such interface
    """
    if not host.strip():
        raise ValueError("--host is empty. Leave it out to listen on this machine only.")
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # one just closed is free
        try:
            probe.bind((host, port))
        except (OSError, OverflowError, UnicodeError) as error:
            raise ValueError(
                f"port {port} of {host} cannot be used"
                f" ({getattr(error, 'strerror', None) or error}). Leave --port out to get a free"
                " one."
            ) from None
        return probe.getsockname()[1]


def has_browser():
    """Whether a browser can be opened here.

    Returns
    -------
    has_browser : bool
        False without a screen or without a browser
    """
    screenless = sys.platform.startswith("linux") and not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    )
    try:
        return not screenless and webbrowser.get() is not None
    except webbrowser.Error:
        return False


def _import_path():
    """Where kernels find the package, before all else that they are told."""
    told = os.environ.get("PYTHONPATH")
    return os.pathsep.join([str(ROOT), *([told] if told else [])])


def _end_on_terminate():
    """A terminate signal ends the server as Ctrl+C does."""

    def stop(*_):
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)


def _wait_for(server, address, log):
    """Wait until the server answers."""
    until = time.monotonic() + STARTS_WITHIN
    while time.monotonic() < until:
        if server.poll() is not None:
            log.seek(0)
            lines = [line.strip() for line in log if line.strip()]
            raise ValueError(f"JupyterLab did not start: {lines[-1] if lines else 'no message'}")
        try:
            urllib.request.urlopen(address, timeout=5).close()
            return
        except (urllib.error.URLError, OSError):
            time.sleep(LOOK_AGAIN)
    raise ValueError(f"JupyterLab did not answer within {STARTS_WITHIN:.0f} s.")


def _say(address, browser):
    try:
        opened = browser and has_browser() and webbrowser.open(address)
    except (webbrowser.Error, OSError):
        opened = False
    where = "The workbook opens in your browser" if opened else "Open this address in a browser"
    print(f"{where}:\n\n    {address}\n\nStop with Ctrl+C.", flush=True)
