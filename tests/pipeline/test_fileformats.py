import pytest

from ladderlight.errors import DeviceFileError
from ladderlight.fileformats import Segment, format_of, segments_of

HEX = b":10000000000102030405060708090A0B0C0D0E0F78\n:00000001FF\n"
S19 = b"S1130000000102030405060708090A0B0C0D0E0F74\nS5030001FB\nS9030000FC\n"


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (HEX, "intel_hex"),
        (b"\r\n" + HEX.replace(b"\n", b"\r\n"), "intel_hex"),
        (S19, "s_record"),
        (b"// words\n@0 1F 2F\n", "verilog_mem"),
        (b"0" * 64, "binary"),  # a picture of the one colour 30h
        (b":" * 64, "binary"),
        (b"S" * 64, "binary"),
        (bytes(range(256)), "binary"),
        (b"", "binary"),
    ],
)
def test_formats_are_told_by_content(data, kind):
    assert format_of(data) == kind


@pytest.mark.parametrize("data", [HEX, S19])
def test_records_give_their_bytes(data):
    assert segments_of("f", data) == [Segment(address=0, data=bytes(range(16)))]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (HEX.replace(b"0F78", b"0E78"), r"f:1: expected crc '79' in record .*; the file is damaged"),
        (HEX.replace(b":00000001FF\n", b""), "no end record"),
        (HEX + HEX, "f: two records hold the same address"),
        (HEX + b":0100200001DE\n", "goes on after its end record"),
        (HEX[:50], r"f:2: .*damaged"),
        (HEX[:20] + b"\xc4" + HEX[20:], "holds 57 bytes, but 16 are needed; it begins like Intel HEX"),
        (S19.replace(b"S5030001FB", b"S5030002FA"), "holds 1 data records, but its count record says 2"),
        (S19.replace(b"S9030000FC\n", b""), "no end record"),
        (S19.replace(b"0F74", b"0F75"), r"f:1: expected crc"),
        (b"@0 12 123\n", "'123' is not a hexadecimal element of 8 bits"),
        (b"@0 12 xy\n", "'xy' is not a hexadecimal element"),
    ],
)
def test_a_damaged_file_is_one_clear_error(data, message):
    with pytest.raises(DeviceFileError, match=message) as caught:
        segments_of("f", data, size=16)
    assert "\n" not in str(caught.value)


def test_records_may_come_in_any_order():
    first, second, end = b":020000000102FB", b":020010000304E7", b":00000001FF"
    assert segments_of("f", b"\n".join([second, first, end])) == [
        Segment(address=0, data=b"\x01\x02"),
        Segment(address=16, data=b"\x03\x04"),
    ]


def test_text_that_turns_binary_is_an_error():
    with pytest.raises(DeviceFileError, match="byte 45 is not"):
        segments_of("f", HEX[:45] + b"\xff\n")


def test_verilog_addresses_count_elements():
    text = b"// two blocks\n@0 0001 0002 /* gap */ @10\nABCD\n"
    assert segments_of("f", text, element=2) == [
        Segment(address=0, data=bytes.fromhex("01000200")),
        Segment(address=0x20, data=bytes.fromhex("CDAB")),
    ]
    assert segments_of("f", text, element=2, order="big")[1].data.hex() == "abcd"
