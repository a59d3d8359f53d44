"""An image for an emulated processor: built from C or read from an ELF file, with what its addresses mean."""
from __future__ import annotations

import bisect
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from experiments.firmware.board.processors import Processor
from experiments.firmware.toolchain import Compiler, find_board_compiler, wheel_headers
from plant.errors import InputError

HERE = Path(__file__).parent
INTERFACE = HERE.parent / "foreign"
FLASH, FLASH_BYTES = 0x0800_0000, 0x20_0000
RAM, STACK_BYTES = 0x2000_0000, 0x8000  # the stack is the lowest part of RAM: beyond its end there is nothing
NEEDED = ("servo_abi", "servo_start", "servo_tick")
FLAGS = ("-std=c99", "-O2", "-g", "-ffp-contract=off", "-ffunction-sections", "-fdata-sections", "-fno-unwind-tables",
         "-fno-asynchronous-unwind-tables", "-Wl,--gc-sections", "-Wl,--build-id=none", "-fstack-protector")
WHEEL_FLAGS = ("-ffreestanding", "-fno-sanitize=all", "-fno-stack-protector")
GCC_FLAGS = ("-mthumb", "-nostartfiles", "--specs=nano.specs", "--specs=nosys.specs", "-Wl,--no-warn-rwx-segments")


@dataclass(frozen=True)
class Image:
    """Machine code and data at their addresses; all of it plain, so that it can be given to another process."""

    processor: str
    compiler: str
    segments: tuple[tuple[int, bytes], ...]
    symbols: dict[str, int]  # functions that are called
    functions: tuple[tuple[int, int, str], ...]  # first, end, name
    lines: tuple[tuple[int, str, int], ...]  # address from which a line holds, file, line
    code: tuple[tuple[int, int], ...]  # ranges of instructions
    flash_bytes: int
    data_bytes: int  # of RAM, without the stack
    data_end: int

    def where(self, address: int) -> str:
        """Function, file and line of an address, as far as the image tells."""
        name = next((name for first, end, name in self.functions if first <= address < end), "")
        place = bisect.bisect_right([line[0] for line in self.lines], address) - 1
        row = self.lines[place] if place >= 0 else (0, "", 0)
        line = f" ({row[1]}:{row[2]})" if name and row[1] else ""
        return f"{name}{line}" if name else f"address 0x{address:08x}"


def build_image(given: Path, sources: list[Path], processor: Processor, folder: Path) -> Image:
    """Build C files for a processor. Raises InputError for what does not compile or link."""
    target = folder / f"firmware_{processor.name}.elf"
    compiler = find_board_compiler()
    script = folder / "board.ld"
    text = (HERE / "board.ld").read_text(encoding="utf-8")
    script.write_text(text.replace("FLASH;", f"0x{FLASH:08x};").replace("RAM;", f"0x{RAM + STACK_BYTES:08x};"),
                      encoding="utf-8")
    names = [*(str(path.resolve()) for path in sources), str(HERE / "board_guard.c")]
    done = compiler.run([*FLAGS, *_flags(compiler, processor), f"-I{INTERFACE}", *names, "-T", str(script),
                         "-o", str(target), *([] if compiler.is_wheel else ["-lm"])])
    if done.returncode != 0:
        wrong = next((line for line in done.stderr.splitlines() if "error" in line or "undefined" in line),
                     done.stderr.strip()[:200])
        lacking = "undefined symbol" in wrong
        hint = ": the wheel's compiler has no whole C library, arm-none-eabi-gcc has" if lacking else ""
        raise InputError(f"--firmware {given}: does not build for {processor.core}: {wrong}{hint}")
    return read_image(target, processor, compiler.version)


def _flags(compiler: Compiler, processor: Processor) -> list[str]:
    if not compiler.is_wheel:
        return [*processor.gcc, *GCC_FLAGS]
    target, core = processor.zig
    return ["-target", target, f"-mcpu={core}", *WHEEL_FLAGS, *wheel_headers(), str(HERE / "board_library.c")]


def read_image(path: Path, processor: Processor, compiler: str = "") -> Image:
    """Read an ELF file for these processors. Raises InputError for another."""
    try:
        from elftools.common.exceptions import ELFError
        from elftools.elf.elffile import ELFFile
    except ImportError:
        raise InputError("--board: needs `pip install 'cuffloop[firmware]'` (pyelftools)") from None
    try:
        with path.open("rb") as file:
            elf = ELFFile(file)
            if elf.header.e_machine != "EM_ARM" or elf.header.e_type != "ET_EXEC":
                raise InputError(f"--firmware {path}: not a program for an ARM processor")
            return _read(elf, processor, compiler, path)
    except OSError as error:
        raise InputError(f"--firmware {path}: cannot be read: {error.strerror or error}") from None
    except ELFError:
        raise InputError(f"--firmware {path}: not an ELF file") from None


def _read(elf: Any, processor: Processor, compiler: str, path: Path) -> Image:
    segments, flash, data, end = [], 0, 0, RAM + STACK_BYTES
    for segment in elf.iter_segments("PT_LOAD"):
        address, size = int(segment.header.p_vaddr), int(segment.header.p_memsz)
        in_flash = address >= FLASH and address + size <= FLASH + FLASH_BYTES
        if not in_flash and not address >= RAM + STACK_BYTES:
            raise InputError(f"--firmware {path}: must stand at 0x{FLASH:08x} (flash) and from "
                             f"0x{RAM + STACK_BYTES:08x} on (RAM)")
        content = segment.data()
        if in_flash:
            flash += size
        else:
            data, flash, end = data + size, flash + len(content), max(end, address + size)
        if content:
            segments.append((address, content))
    table = elf.get_section_by_name(".symtab")
    symbols = sorted(table.iter_symbols(), key=lambda symbol: int(symbol.entry.st_value)) if table else []
    known = {symbol.name: int(symbol.entry.st_value) for symbol in symbols if symbol.name in NEEDED}
    if len(known) < len(NEEDED):
        raise InputError(f"--firmware {path}: lacks one of {', '.join(NEEDED)}")
    functions = tuple(
        (int(s.entry.st_value) & ~1, (int(s.entry.st_value) & ~1) + int(s.entry.st_size), s.name)
        for s in symbols if s.entry.st_info.type == "STT_FUNC" and s.entry.st_size)
    return Image(processor.name, compiler, tuple(segments), known, functions, _lines(elf), _code(symbols, segments),
                 flash, data, end)


def _code(symbols: list[Any], segments: list[tuple[int, bytes]]) -> tuple[tuple[int, int], ...]:
    """Ranges of instructions: between the mapping symbols $t and $d of the ARM ABI."""
    marks = [(int(s.entry.st_value), s.name[:2]) for s in symbols if s.name[:2] in ("$t", "$d", "$a")
             and FLASH <= s.entry.st_value < FLASH + FLASH_BYTES]
    end = max((address + len(content) for address, content in segments if address < RAM), default=FLASH)
    ends = [mark[0] for mark in marks[1:]] + [end]
    spans = zip(marks, ends, strict=True)
    return tuple((first, last) for (first, kind), last in spans if kind == "$t" and last > first)


def _lines(elf: Any) -> tuple[tuple[int, str, int], ...]:
    """Where each line's machine code begins, by address."""
    if not elf.has_dwarf_info():
        return ()
    rows, debug = [], elf.get_dwarf_info()
    for unit in debug.iter_CUs():
        program = debug.line_program_for_CU(unit)
        if program is None:
            continue
        first = 0 if program.header.version >= 5 else 1
        names = [entry.name for entry in program.header.file_entry]
        for entry in program.get_entries():
            state = entry.state
            if state is not None and not state.end_sequence and 0 <= state.file - first < len(names):
                name = names[state.file - first]
                rows.append((int(state.address), Path(name.decode("utf-8", "replace")).name, int(state.line)))
    return tuple(sorted(row for row in rows if row[0] >= FLASH))
