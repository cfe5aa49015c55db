#include <catch2/catch.hpp>

#include "iso9660_support.h"
#include "support/hexfile.h"

using namespace platter;
using namespace platter::test;

namespace {

constexpr std::size_t kSmallBytes = 45056;  // 22 blocks of 2048
constexpr std::size_t kOffset = 2560;       // where the volume begins in the image of one test
constexpr std::size_t kPrimary = 0x8000;
constexpr std::size_t kTerminator = 0x8800;
constexpr std::size_t kTableL = 0x9000;
constexpr std::size_t kTableM = 0x9800;
constexpr std::size_t kRoot = 0xA000;

std::vector<std::byte> small() {
  return hex_fixture("filesystem/iso9660/small.hex");
}

std::vector<std::byte> with(std::vector<std::byte> bytes, std::size_t at, const std::string& hex) {
  const auto patch = hex_text(hex, "patch");
  std::ranges::copy(patch, bytes.begin() + static_cast<std::ptrdiff_t>(at));
  return bytes;
}

// A supplementary descriptor in front of the terminator, which moves on by one sector; it has the
// texts and the tree of the primary one.
std::vector<std::byte> with_supplementary(const std::string& escapes, const std::string& version) {
  auto bytes = small();
  const auto place = [&](std::size_t at) {
    return bytes.begin() + static_cast<std::ptrdiff_t>(at);
  };
  // Sector 18 held path table L, which moves to block 21 behind the root directory.
  std::copy(place(kTableL), place(kTableL) + 2048, place(0xA800));
  std::copy(place(kTerminator), place(kTerminator) + 2048, place(kTableL));
  bytes = with(bytes, kPrimary + 140, "15");
  std::copy(bytes.begin() + kPrimary, bytes.begin() + kPrimary + 2048, bytes.begin() + kTerminator);
  bytes = with(bytes, kTerminator, "02");
  bytes = with(bytes, kTerminator + 6, version);
  bytes = with(bytes, kTerminator + 881, version);
  return with(bytes, kTerminator + 88, escapes);
}

Claim claim_of(std::vector<std::byte> bytes) {
  auto claim = iso_claim(std::move(bytes));
  REQUIRE(claim.has_value());
  return *claim;
}

void check_only_finding(const Claim& claim, FindingCode code, std::uint64_t start,
                        std::uint64_t bytes, Severity severity) {
  REQUIRE(claim.findings.size() == 1);
  const Finding& finding = claim.findings.front();
  INFO(finding.message);
  CHECK(finding.code == code);
  CHECK(finding.severity == severity);
  CHECK(finding.start == start);
  CHECK(finding.bytes == bytes);
}

}  // namespace

TEST_CASE("a small volume is claimed with all its facts") {
  const Claim claim = claim_of(small());
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.start == 0);
  CHECK(claim.bytes == kSmallBytes);
  CHECK(claim.title == "ISO 9660 volume");
  CHECK(claim.facts.words("byte_order") == "both");
  CHECK(claim.facts.number("block_bytes") == 2048);
  CHECK(claim.facts.number("volume_bytes") == kSmallBytes);
  CHECK(claim.facts.number("used_bytes") == kSmallBytes);
  CHECK(claim.facts.words("volume_name") == "SMALL_VOLUME");
  CHECK(claim.facts.words("system_id") == "CORVIDOS");
  CHECK(claim.facts.words("volume_set_id") == "GANNET_SET");
  CHECK(claim.facts.words("publisher_id") == "GANNET POINT COMPUTING MUSEUM");
  CHECK(claim.facts.words("preparer_id") == "VOLUNTEERS");
  CHECK(claim.facts.find("application_id") != nullptr);
  CHECK(claim.facts.words("application_id").empty());
  CHECK(claim.facts.words("copyright_file") == "COPY.TXT;1");
  CHECK(claim.facts.find("abstract_file") == nullptr);
  CHECK(iso_time(claim, "created") == 740143800);  // 1993-06-15 11:30:00 UTC
  CHECK(iso_time(claim, "modified") == 740176200);
  CHECK(iso_time(claim, "effective") == 741398400);
  CHECK(claim.facts.find("expires") == nullptr);
  CHECK(claim.facts.number("volume_set_size") == 1);
  CHECK(claim.facts.number("sequence_number") == 1);
  CHECK(claim.facts.number("directories") == 1);
  for (const char* flag : {"rock_ridge", "joliet", "el_torito"}) {
    INFO(flag);
    REQUIRE(claim.facts.find(flag) != nullptr);
    CHECK_FALSE(iso_flag(claim, flag));
  }
  REQUIRE(claim.records.size() == 3);  // primary, terminator, root directory
  CHECK(claim.records[0].role == "primary");
  CHECK(claim.records[2].start == kRoot);
}

TEST_CASE("Rock Ridge, Joliet and El Torito are found in the example") {
  const Claim claim = claim_of(hex_fixture("filesystem/iso9660/example.hex"));
  CHECK(claim.strength == Strength::proven);
  for (const Finding& finding : claim.findings)
    INFO(finding.message);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == 1976320);
  CHECK(claim.title == "ISO 9660 volume with Rock Ridge, Joliet and El Torito");
  CHECK(claim.facts.number("directories") == 2);
  CHECK(iso_flag(claim, "rock_ridge"));
  CHECK(claim.facts.words("system_use") == "RRIP_1991A");
  CHECK(iso_flag(claim, "joliet"));
  CHECK(claim.facts.number("joliet_level") == 3);
  CHECK(claim.facts.words("joliet_volume_name") == "Example n\xC3\x84");
  CHECK(iso_flag(claim, "el_torito"));
  CHECK(claim.facts.number("boot_catalog_sector") == 33);
  CHECK(iso_time(claim, "created") == 1795601448);
}

TEST_CASE("blocks may have 512 bytes") {
  const Claim claim = claim_of(hex_fixture("filesystem/iso9660/blocks-512.hex"));
  CHECK(claim.findings.empty());
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.bytes == kSmallBytes);
  CHECK(claim.facts.number("block_bytes") == 512);
}

TEST_CASE("places are those of the image wherever the volume begins") {
  auto bytes = with(small(), kPrimary + 87, "17");
  bytes.insert(bytes.begin(), kOffset, std::byte{0xE5});
  const View view = iso_view(std::move(bytes)).sub(kOffset, kSmallBytes);
  const auto claim = iso_claim(view);
  REQUIRE(claim.has_value());
  CHECK(claim->start == kOffset);
  CHECK(claim->bytes == kSmallBytes);
  check_only_finding(*claim, FindingCode::both_endian_differ, kOffset + kPrimary + 80, 8,
                     Severity::fault);
  CHECK(claim->records[0].start == kOffset + kPrimary);
}

TEST_CASE("every number in both orders is compared") {
  struct Number {
    std::size_t at;
    std::size_t bytes;
    const char* name;
  };
  // Byte positions of ECMA-119 8.4, and of 9.1 within the root record at 156, less one.
  for (const Number& number :
       {Number{80, 8, "blocks"}, Number{120, 4, "set_size"}, Number{124, 4, "sequence_number"},
        Number{128, 4, "block_bytes"}, Number{132, 8, "path_table_bytes"},
        Number{158, 8, "root's extent"}, Number{166, 8, "root's bytes"},
        Number{184, 4, "root's sequence_number"}}) {
    INFO(number.name);
    auto bytes = small();
    bytes[kPrimary + number.at + number.bytes - 1] ^= std::byte{0x40};
    const Claim claim = claim_of(std::move(bytes));
    check_only_finding(claim, FindingCode::both_endian_differ, kPrimary + number.at, number.bytes,
                       Severity::fault);
    CHECK(claim.findings[0].message.find(number.name) != std::string::npos);
    CHECK(claim.strength == Strength::sane);
  }
}

TEST_CASE("the half that can be right is used") {
  // A little-endian block size of 0 and a big-endian one of 2048.
  const Claim claim = claim_of(with(small(), kPrimary + 128, "00 00"));
  CHECK(claim.facts.number("block_bytes") == 2048);
  CHECK(claim.bytes == kSmallBytes);
  check_only_finding(claim, FindingCode::both_endian_differ, kPrimary + 128, 4, Severity::fault);
}

TEST_CASE("path tables are compared with the descriptor and with one another") {
  SECTION("table M differs") {
    const Claim claim = claim_of(with(small(), kTableM + 5, "15"));
    check_only_finding(claim, FindingCode::path_table_differs, kTableM, 8, Severity::fault);
  }
  SECTION("table L begins with another place") {
    const Claim claim = claim_of(with(small(), kTableL + 2, "15"));
    REQUIRE(claim.findings.size() == 2);  // it differs from the descriptor and from table M
    CHECK(claim.findings[0].start == kTableL);
    CHECK(claim.findings[1].start == kTableM);
    CHECK(claim.facts.find("directories") == nullptr);
  }
  SECTION("table L lies behind the volume") {
    const Claim claim = claim_of(with(small(), kPrimary + 140, "16"));
    check_only_finding(claim, FindingCode::path_table_differs, kPrimary + 140, 4, Severity::fault);
  }
  SECTION("table L lies in the system area") {
    const Claim claim = claim_of(with(small(), kPrimary + 140, "03"));
    check_only_finding(claim, FindingCode::path_table_differs, kPrimary + 140, 4, Severity::fault);
  }
  SECTION("there is no table M") {
    const Claim claim = claim_of(with(small(), kPrimary + 148, "00 00 00 00"));
    check_only_finding(claim, FindingCode::path_table_differs, kPrimary + 148, 4,
                       Severity::caution);
  }
  SECTION("the length is not that of the records") {
    const Claim claim = claim_of(with(small(), kPrimary + 132, "0B 00 00 00 00 00 00 0B"));
    const Finding* finding = iso_finding(claim, FindingCode::path_table_differs);
    REQUIRE(finding != nullptr);
    CHECK(finding->start == kTableL + 10);
  }
  SECTION("a copy of table L differs") {
    const Claim good = claim_of(with(small(), kPrimary + 144, "12"));
    CHECK(good.findings.empty());
    const Claim claim = claim_of(with(small(), kPrimary + 144, "15"));
    check_only_finding(claim, FindingCode::path_table_differs, 0xA800, 8, Severity::fault);
  }
  SECTION("a parent does not stand before its child") {
    auto bytes = with(small(), kPrimary + 132, "14 00 00 00 00 00 00 14");
    bytes = with(bytes, kTableL + 10, "01 00 15 00 00 00 03 00 41 00");
    bytes = with(bytes, kTableM + 10, "01 00 00 00 00 15 00 03 41 00");
    const Claim claim = claim_of(std::move(bytes));
    check_only_finding(claim, FindingCode::path_table_differs, kTableL + 16, 2, Severity::fault);
  }
}

TEST_CASE("the root directory must be where the descriptor says") {
  SECTION("it does not begin with its own record") {
    const Claim claim = claim_of(with(small(), kRoot, "*34 00"));
    check_only_finding(claim, FindingCode::filesystem_damaged, kRoot, 33, Severity::fault);
    CHECK(claim.strength == Strength::magic);
  }
  SECTION("it says that it lies elsewhere") {
    const Claim claim = claim_of(with(small(), kRoot + 2, "13 00 00 00 00 00 00 13"));
    check_only_finding(claim, FindingCode::filesystem_damaged, kRoot + 2, 16, Severity::caution);
  }
  SECTION("it lies behind the volume") {
    auto bytes = with(small(), kPrimary + 158, "16 00 00 00 00 00 00 16");
    bytes = with(bytes, kTableL + 2, "16");
    bytes = with(bytes, kTableM + 5, "16");
    const Claim claim = claim_of(std::move(bytes));
    check_only_finding(claim, FindingCode::filesystem_damaged, kPrimary + 158, 16, Severity::fault);
    CHECK(claim.strength == Strength::magic);
  }
}

TEST_CASE("contradictions of single fields leave a claim with findings") {
  SECTION("version") {
    const Claim claim = claim_of(with(small(), kPrimary + 6, "03"));
    check_only_finding(claim, FindingCode::filesystem_damaged, kPrimary + 6, 1, Severity::caution);
  }
  SECTION("file structure version") {
    const Claim claim = claim_of(with(small(), kPrimary + 881, "00"));
    check_only_finding(claim, FindingCode::filesystem_damaged, kPrimary + 881, 1,
                       Severity::caution);
  }
  SECTION("block size") {
    const Claim claim = claim_of(with(small(), kPrimary + 128, "00 09 09 00"));
    check_only_finding(claim, FindingCode::filesystem_damaged, kPrimary + 128, 4, Severity::fault);
    CHECK(claim.facts.number("block_bytes") == 2048);
  }
  SECTION("root record") {
    const Claim claim = claim_of(with(small(), kPrimary + 156, "23"));
    check_only_finding(claim, FindingCode::filesystem_damaged, kPrimary + 156, 1, Severity::fault);
  }
  SECTION("root record's flags") {
    const Claim claim = claim_of(with(small(), kPrimary + 181, "00"));
    check_only_finding(claim, FindingCode::filesystem_damaged, kPrimary + 181, 1, Severity::fault);
  }
  SECTION("root record's identifier") {
    const Claim claim = claim_of(with(small(), kPrimary + 189, "41"));
    check_only_finding(claim, FindingCode::filesystem_damaged, kPrimary + 188, 2, Severity::fault);
  }
  SECTION("a time") {
    const Claim claim = claim_of(with(small(), kPrimary + 817, "39 39"));
    check_only_finding(claim, FindingCode::filesystem_damaged, kPrimary + 813, 17, Severity::note);
    CHECK(claim.facts.find("created") == nullptr);
  }
  SECTION("control characters in a text") {
    const Claim claim = claim_of(with(small(), kPrimary + 42, "1B"));
    check_only_finding(claim, FindingCode::name_illegal, kPrimary + 40, 12, Severity::note);
  }
  SECTION("lower case is usual") {
    CHECK(claim_of(with(small(), kPrimary + 40, "73 6D")).findings.empty());
  }
}

TEST_CASE("the set must end with a terminator") {
  const Claim claim = claim_of(with(small(), kTerminator, "*7 00"));
  check_only_finding(claim, FindingCode::filesystem_damaged, kTerminator, 2048, Severity::caution);
}

TEST_CASE("copies of the primary descriptor are compared") {
  auto bytes = small();
  std::copy(bytes.begin() + kPrimary, bytes.begin() + kPrimary + 2048, bytes.begin() + kTerminator);
  bytes = with(bytes, kPrimary + 140, "15");  // the terminator takes the place of table L
  std::copy(bytes.begin() + kTableL, bytes.begin() + kTableL + 2048, bytes.begin() + 0xA800);
  bytes = with(bytes, kTableL, "FF \"CD001\" 01 *4 00");
  const Claim claim = claim_of(bytes);
  check_only_finding(claim, FindingCode::filesystem_damaged, kTerminator, 2048, Severity::caution);
  bytes = with(bytes, kTerminator + 140, "15");
  CHECK(claim_of(bytes).findings.empty());
}

TEST_CASE("supplementary descriptors are told apart") {
  SECTION("Joliet levels") {
    for (const auto& [escape, level] :
         {std::pair("25 2F 40", 1), std::pair("25 2F 43", 2), std::pair("25 2F 45", 3)}) {
      const Claim claim = claim_of(with_supplementary(escape, "01"));
      CHECK(claim.findings.empty());
      CHECK(iso_flag(claim, "joliet"));
      CHECK(claim.facts.number("joliet_level") == static_cast<std::uint64_t>(level));
    }
  }
  SECTION("another character set") {
    const Claim claim = claim_of(with_supplementary("25 2F 41", "01"));
    CHECK_FALSE(iso_flag(claim, "joliet"));
    CHECK(claim.records[1].role == "supplementary");
  }
  SECTION("enhanced") {
    const Claim claim = claim_of(with_supplementary("00", "02"));
    CHECK(claim.findings.empty());
    CHECK(iso_flag(claim, "enhanced"));
    CHECK_FALSE(iso_flag(claim, "joliet"));
  }
  SECTION("its numbers are compared too") {
    auto bytes = with(with_supplementary("25 2F 45", "01"), kTerminator + 87, "17");
    const Claim claim = claim_of(std::move(bytes));
    check_only_finding(claim, FindingCode::both_endian_differ, kTerminator + 80, 8,
                       Severity::fault);
    CHECK(claim.findings[0].message.find("Joliet level 3 descriptor") != std::string::npos);
  }
}

TEST_CASE("a partition descriptor's numbers are checked") {
  auto bytes = with_supplementary("00", "01");
  bytes = with(bytes, kTerminator, "03 \"CD001\" 01 *2041 00");
  bytes = with(bytes, kTerminator + 72, "14 00 00 00 00 00 00 14 02 00 00 00 00 00 00 02");
  CHECK(claim_of(bytes).findings.empty());
  const Claim beyond = claim_of(with(bytes, kTerminator + 80, "03 00 00 00 00 00 00 03"));
  check_only_finding(beyond, FindingCode::filesystem_damaged, kTerminator + 72, 16,
                     Severity::caution);
  const Claim differing = claim_of(with(bytes, kTerminator + 79, "15"));
  check_only_finding(differing, FindingCode::both_endian_differ, kTerminator + 72, 8,
                     Severity::fault);
}

TEST_CASE("CD-ROM XA leaves its mark") {
  // The mark is at byte 1024 of the descriptor (cdio/iso9660.h).
  const Claim claim = claim_of(with(small(), kPrimary + 1024, "\"CD-XA001\""));
  CHECK(iso_flag(claim, "xa"));
}

TEST_CASE("system use entries that lead nowhere are survived") {
  const auto example = hex_fixture("filesystem/iso9660/example.hex");
  const std::size_t ce = kRoot + 34 + 7;
  SECTION("a continuation area that leads to itself") {
    // An ER entry and behind it a CE entry that names this very area.
    auto bytes = with(example, ce + 20, "42 00 00 00 00 00 00 42");
    bytes = with(bytes, 0xA800 + 38,
                 "43 45 1C 01 15 00 00 00 00 00 00 15 00 00 00 00 00 00 00 00 "
                 "42 00 00 00 00 00 00 42");
    const Claim claim = claim_of(bytes);
    check_only_finding(claim, FindingCode::filesystem_damaged, 0xA800 + 38, 4, Severity::caution);
    CHECK(iso_flag(claim, "rock_ridge"));
  }
  SECTION("a continuation area that leaves its block") {
    const Claim claim = claim_of(with(example, ce + 12, "FF 07 00 00 00 00 07 FF"));
    check_only_finding(claim, FindingCode::filesystem_damaged, ce, 4, Severity::caution);
  }
  SECTION("an entry that is longer than its field") {
    const Claim claim = claim_of(with(example, 0xA800 + 2, "FF"));
    check_only_finding(claim, FindingCode::filesystem_damaged, 0xA800, 4, Severity::caution);
  }
  SECTION("no SP entry, no Rock Ridge") {
    CHECK_FALSE(iso_flag(claim_of(with(example, kRoot + 34, "58")), "rock_ridge"));
  }
  SECTION("SP behind the bytes of CD-ROM XA") {
    auto bytes = with(example, kRoot + 34,
                      "00 00 00 00 8D 55 \"XA\" 00 *5 00 53 50 07 01 BE EF 00 "
                      "50 58 24 01 *32 00");
    CHECK(iso_flag(claim_of(bytes), "rock_ridge"));
  }
}

TEST_CASE("what only looks like a volume is none") {
  CHECK_FALSE(iso_claim(std::vector<std::byte>{}));
  CHECK_FALSE(iso_claim(std::vector<std::byte>(45056)));
  CHECK_FALSE(iso_claim(hex_fixture("filesystem/iso9660/magic-alone.hex")));
  CHECK_FALSE(iso_claim(hex_text("@0x8000 01 \"CD001\" 01 size 45056", "zeros")));
  CHECK_FALSE(iso_claim(hex_text("@0x8000 *2048 43 @0x8000 01 \"CD001\" 01 size 45056", "C")));
  CHECK_FALSE(iso_claim(hex_text("@0x8000 *2048 FF @0x8000 01 \"CD001\" 01 size 45056", "FF")));
  CHECK_FALSE(iso_claim(with(small(), kPrimary, "02")));
  CHECK_FALSE(iso_claim(with(small(), kPrimary + 1, "58")));
  CHECK_FALSE(iso_claim(with(small(), kPrimary, "FF")));
}

TEST_CASE("the damaged volume has its three faults") {
  const Claim claim = claim_of(hex_fixture("filesystem/iso9660/damaged.hex"));
  REQUIRE(claim.findings.size() == 3);
  CHECK(claim.findings[0].code == FindingCode::both_endian_differ);
  CHECK(claim.findings[1].code == FindingCode::path_table_differs);
  CHECK(claim.findings[2].code == FindingCode::filesystem_damaged);
  CHECK(claim.facts.words("volume_name") == "DAMAGED");
}
