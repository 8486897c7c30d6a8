"""Which address a phone may reach: RFC 1918, RFC 4193 and RFC 3927, and nothing else."""

import pytest

from dyebook.errors import DyebookError
from dyebook.server.serve import choose_private, free_port, host_and_port, is_private, phone_base

# edges of the ranges as the RFCs give them: 1918 section 3, 4193 section 3.1, 3927 section 2.1
INSIDE = ["10.0.0.0", "10.255.255.255", "172.16.0.1", "172.31.255.254", "192.168.0.1", "192.168.255.255"]
INSIDE += ["169.254.1.1", "fc00::1", "fdff:ffff::1"]
OUTSIDE = ["9.255.255.255", "11.0.0.0", "172.15.255.255", "172.32.0.0", "192.167.255.255", "192.169.0.0"]
# everybody's, loopback, carrier's (RFC 6598), documentation (RFC 5737), public, zoned (no browser writes it), none
OUTSIDE += ["0.0.0.0", "::", "127.0.0.1", "::1", "100.64.0.1", "192.0.2.1", "198.18.0.1", "8.8.8.8", "2001:db8::1"]
OUTSIDE += [
    "fe80::1%eth0",
    "fe80::1",
    "fbff::1",
    "::ffff:192.168.1.5",
    "bench.local",
    "",
    "192.168.1.5:80",
    "192.168.1",
]


@pytest.mark.parametrize("address", INSIDE)
def test_an_address_of_the_shops_own_network_is_taken(address):
    assert is_private(address)
    assert choose_private([], address) == address


@pytest.mark.parametrize("address", OUTSIDE)
def test_any_other_is_refused_with_what_to_do(address):
    assert not is_private(address)
    with pytest.raises(DyebookError, match=r"no private address.*--at"):
        choose_private(["192.168.1.5"], address)


def test_the_home_routers_range_goes_before_the_others_and_link_local_comes_last():
    assert choose_private(["127.0.1.1", "169.254.9.9", "10.8.0.2", "192.168.1.5", "203.0.113.4"]) == "192.168.1.5"
    assert choose_private(["169.254.9.9", "172.17.0.1", "10.8.0.2", "10.8.0.3"]) == "10.8.0.2"
    assert choose_private(["fd12::5", "169.254.9.9"]) == "fd12::5"


def test_a_machine_without_private_address_is_told():
    with pytest.raises(DyebookError, match="join the shop's network"):
        choose_private(["127.0.0.1", "203.0.113.4"])


@pytest.mark.parametrize(
    ("kept", "base"),
    [
        (None, "http://192.168.1.5:8640"),
        ("http://bench.local:8640", "http://bench.local:8640"),
        ("http://Bench.local:8640/", "http://bench.local:8640"),
        ("http://192.168.1.5:8640", "http://192.168.1.5:8640"),
        # of yesterday, another port, this machine alone, another kind of link, no link
        ("http://192.168.1.9:8640", "http://192.168.1.5:8640"),
        ("http://bench.local:8641", "http://192.168.1.5:8640"),
        ("http://localhost:8640", "http://192.168.1.5:8640"),
        ("https://bench.local:8640", "http://192.168.1.5:8640"),
        ("http://bench.local:port", "http://192.168.1.5:8640"),
        ("http://[bench:8640", "http://192.168.1.5:8640"),
    ],
)
def test_phones_open_the_name_that_cards_carry_where_it_can_be_this_app(kept, base):
    assert phone_base(kept, "192.168.1.5", 8640) == base


def test_an_ipv6_host_is_written_in_brackets():
    assert host_and_port("fd12::5", 8640) == "[fd12::5]:8640"
    assert phone_base("", "fd12::5", 8640) == "http://[fd12::5]:8640"


def test_an_address_of_another_machine_is_no_matter_of_ports():
    with pytest.raises(DyebookError, match=r"^192\.0\.2\.7 cannot be listened at .*an address of this machine"):
        free_port(addresses=("192.0.2.7",))  # TEST-NET-1 of RFC 5737: nobody's
