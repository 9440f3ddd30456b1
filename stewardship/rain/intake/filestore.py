"""The bytes of uploaded files, kept in the database in parts that any worker can read one by one."""

import io
from typing import BinaryIO

from stewardship.rain.models import ReadingFile, ReadingFilePart

#: [bytes] A part is the most of a file that is in memory at a time. Our choice.
PART_BYTES = 1_000_000


def keep_bytes(file: ReadingFile, content: BinaryIO) -> None:
    """Keep a file's bytes, from its beginning. Inside the caller's transaction."""
    content.seek(0)
    number = 0
    while part := content.read(PART_BYTES):
        ReadingFilePart.objects.create(file=file, number=number, content=part)
        number += 1


class StoredBytes(io.RawIOBase):
    """An uploaded file's bytes as a binary file to read; one part is in memory at a time."""

    def __init__(self, file: ReadingFile) -> None:
        super().__init__()
        self.file = file
        self.at = 0
        self.number = -1
        self.part = b""

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        start = {io.SEEK_SET: 0, io.SEEK_CUR: self.at, io.SEEK_END: self.file.size}[whence]
        self.at = max(0, start + offset)
        return self.at

    def tell(self) -> int:
        return self.at

    def readinto(self, buffer) -> int:
        number, within = divmod(self.at, PART_BYTES)
        if number != self.number:
            kept = self.file.parts.filter(number=number).values_list("content", flat=True).first()
            self.part, self.number = b"" if kept is None else bytes(kept), number
        piece = self.part[within : within + len(buffer)]
        buffer[: len(piece)] = piece
        self.at += len(piece)
        return len(piece)


def stored(file: ReadingFile) -> BinaryIO:
    """An uploaded file, open for reading."""
    return io.BufferedReader(StoredBytes(file), buffer_size=1 << 16)
