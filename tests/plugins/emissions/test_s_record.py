import pytest

from ladderlight import DeviceFileError
from ladderlight.devices.files import join_files
from ladderlight_stages.emissions.s_record import s_record


@pytest.mark.parametrize(
    ("bits", "offset", "data", "end"),
    [(None, 0, "S2", "S804000000FB"), (32, 0, "S3", "S70500000000FA"), (None, 0x1000000, "S3", "S70500000000FA")],
)
def test_the_end_record_goes_with_the_data_records(board, random_contents, bits, offset, data, end):
    contents = random_contents(board)
    (file,) = s_record(contents, board, address_bits=bits, offset=offset)
    lines = file.data.decode().splitlines()
    assert lines[0] == "S00A0000" + b"picture".hex().upper() + "F9"
    assert {line[:2] for line in lines[1:-2]} == {data}
    assert lines[-2] == "S5032000DC"
    assert lines[-1] == end
    assert (join_files([file], board.devices[0]) == contents.memories["picture"].words).all()


def test_a_small_device_gets_s19(make_board, memory, random_contents):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C512"))
    (file,) = s_record(random_contents(board), board)
    assert file.data.decode().splitlines()[-1] == "S9030000FC"


def test_addresses_that_do_not_fit_are_refused(board, random_contents):
    with pytest.raises(
        DeviceFileError, match="the last byte is at 1FFFFh, beyond addresses of 16 bits; use more address_bits"
    ):
        s_record(random_contents(board), board, address_bits=16)
    with pytest.raises(DeviceFileError, match="lower the offset"):
        s_record(random_contents(board), board, offset=0xFFFFFFFF)


def test_fill_is_left_out_when_asked(board, banked):
    contents = banked(board, (1,))
    (file,) = s_record(contents, board, leave_out_fill=True)
    assert sum(line.startswith("S2") for line in file.data.decode().splitlines()) == 120 * 10
    assert (join_files([file], board.devices[0]) == contents.memories["picture"].words).all()
