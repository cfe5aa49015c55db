#include <string>
#include <string_view>
#include <vector>

#include <catch2/catch.hpp>

#include "plan/nearest.h"
#include "plan/plan.h"

namespace {

using namespace platter::plan;

constexpr std::string_view kWhole = R"(# The plan for the museum's Corvid 340 (invented).
[card]
path = "card.img"
size = "7580 MiB"        # stated

[[region]]
name = "system disk"
device = "disk"
bus_id = 0
start = 2048
size = "1 GiB"
geometry = { heads = 16, sectors_per_track = 63 }
image = "system.img"
machine = "sparc"
label = "sun"

[[region]]
name = "install disc"
device = "optical"
bus_id = 3
size = "700 MiB"
align = "4 MiB"
block_bytes = 2048
image = "install.iso.gz"
)";

TEST_CASE("reading a plan: everything that can be said") {
  const ReadPlan read = read_plan(kWhole);
  REQUIRE(read.complaints.empty());
  const WrittenPlan& plan = read.plan;
  CHECK(plan.card_path->value == "card.img");
  CHECK(plan.card_size->value == 7580ULL * 1024 * 1024);
  CHECK(plan.card_size->place == TextPlace{4, 8});
  CHECK(plan.align == 1048576);
  CHECK(plan.bus == Bus::narrow);
  CHECK(plan.initiator_id == 7);
  REQUIRE(plan.regions.size() == 2);
  const WrittenRegion& disk = plan.regions[0];
  CHECK(disk.name == "system disk");
  CHECK(disk.device == Device::disk);
  CHECK(disk.bus_id->value == 0);
  CHECK(disk.start->value == 1048576);
  CHECK(disk.size->value == 1073741824);
  CHECK_FALSE(disk.geometry->value.cylinders);
  CHECK(disk.geometry->value.heads == 16);
  CHECK(disk.geometry->value.sectors_per_track == 63);
  CHECK(disk.image->value == "system.img");
  CHECK(disk.machine->value == "sparc");
  CHECK(disk.label->value == "sun");
  CHECK(disk.place.line == 6);
  const WrittenRegion& disc = plan.regions[1];
  CHECK(disc.device == Device::optical);
  CHECK_FALSE(disc.start);
  CHECK(disc.align->value == 4194304);
  CHECK(disc.block_bytes->value == 2048);
}

TEST_CASE("reading a plan: letters where white space may stand") {
  // One of each row in the parser's table of white space (TOML 1.0 knows blank and tab only).
  for (const char* letter :
       {"\xC3\xBC", "\xE1\x96\x80", "\xE2\x80\xA6", "\xE3\x83\x84", "\xEF\xBB\xBA"}) {
    CAPTURE(letter);
    const ReadPlan continued =
        read_plan(std::string("card.path = \"\"\"a\\\n  ") + letter + "\"\"\"\n");
    CHECK(continued.plan.card_path->value == std::string("a") + letter);
    CHECK_FALSE(read_plan(std::string("card") + letter + ".path = 'a'\n").complaints.empty());
    CHECK_FALSE(read_plan(std::string("card = 1") + letter + "\n").complaints.empty());
    CHECK_FALSE(read_plan(letter).complaints.empty());
  }
}

TEST_CASE("reading a plan: other ways of saying it") {
  const ReadPlan read = read_plan(
      "card = { csd = '400e00325b5900003b377f800a404000', bus = 'wide', initiator_id = 15, align = "
      "1 }\n"
      "region = [ { name = 'a', device = 'disk', bus_id = 12, start = 0x10 } ]\n");
  REQUIRE(read.complaints.empty());
  CHECK(read.plan.card_size->value == 7948206080U);  // C_SIZE 0x3b37 = 15159, second structure
  CHECK(read.plan.bus == Bus::wide);
  CHECK(read.plan.initiator_id == 15);
  CHECK(read.plan.align == 512);
  CHECK(read.plan.regions[0].start->value == 8192);
}

// The only complaint about a text, as "LINE:COLUMN: MESSAGE".
std::string complaint_about(std::string_view text) {
  const ReadPlan read = read_plan(text);
  if (read.complaints.size() != 1) {
    std::string all = "(" + std::to_string(read.complaints.size()) + " complaints)";
    for (const Complaint& one : read.complaints)
      all += "\n" + complaint_text("plan", one);
    return all;
  }
  return complaint_text("plan", read.complaints[0]).substr(5);
}

// One line inside an otherwise sound region; the line is number 6.
std::string complaint_in_region(std::string_view line) {
  return complaint_about("[card]\nsize = 100\n[[region]]\nname = 'a'\ndevice = 'disk'\n" +
                         std::string(line) + "\n");
}

std::string complaint_in_card(std::string_view line) {
  return complaint_about("[[region]]\nname = 'a'\ndevice = 'disk'\n[card]\n" + std::string(line) +
                         "\n");
}

TEST_CASE("reading a plan: unknown keys name the nearest known one") {
  CHECK(complaint_in_region("sise = 5") ==
        "6:1: unknown key 'sise' in [[region]]; the nearest known key is 'size'");
  CHECK(complaint_in_region("  busid = 5") ==
        "6:3: unknown key 'busid' in [[region]]; the nearest known key is 'bus_id'");
  CHECK(complaint_in_card("pahts = 'x'") ==
        "5:1: unknown key 'pahts' in [card]; the nearest known key is 'path'");
  CHECK(complaint_in_region("geometry = { heads = 1, sectors = 1, sectors_per_track = 2 }") ==
        "6:25: unknown key 'sectors' in geometry; the nearest known key is 'heads'");
  CHECK(complaint_about("[card]\nsize = 1\n[[region]]\nname='a'\ndevice='disk'\n[regoin]\n") ==
        "6:2: unknown key 'regoin' in the plan; the nearest known key is 'region'");
}

TEST_CASE("reading a plan: values of the wrong kind") {
  CHECK(complaint_in_region("size = 1.5") ==
        "6:8: size: must be a text with a unit or a whole number of blocks");
  CHECK(complaint_in_region("size = '5 KB'") ==
        "6:8: size: '5 KB' could mean two things: write kB for 1000 or KiB for 1024 bytes");
  CHECK(complaint_in_region("size = 0") == "6:8: size: must not be 0");
  CHECK(complaint_in_region("start = -1") == "6:9: start: '-1' is negative");
  CHECK(complaint_in_region("start = 9223372036854775807") ==
        "6:9: start: '9223372036854775807' is larger than 64 bits can hold");
  CHECK(complaint_in_region("align = 0") == "6:9: align: must not be 0");
  CHECK(complaint_in_region("bus_id = 8") == "6:10: bus_id must be 0 to 7, found 8");
  CHECK(complaint_in_region("bus_id = '1'") == "6:10: bus_id must be a whole number");
  CHECK(complaint_in_region("image = 5") == "6:9: image must be a text in quotes");
  CHECK(complaint_in_region("image = ''") == "6:9: image must not be empty");
  CHECK(complaint_in_region("image = \"a\\u0000b\"") == "6:9: image must not hold a NUL character");
  CHECK(complaint_in_region("block_bytes = 500") ==
        "6:15: block_bytes must be 512, 1024, 2048 or 4096, found 500");
  CHECK(complaint_in_region("label = 'gpt'") ==
        "6:9: label must be \"sun\", \"sgi\", \"bsd\", \"dlv\" or \"mbr\", found 'gpt'");
  CHECK(complaint_in_region("geometry = 5").starts_with("6:12: geometry must be a table"));
  CHECK(complaint_in_region("geometry = { heads = 5 }") ==
        "6:12: geometry needs sectors_per_track");
  CHECK(complaint_in_region("geometry = { heads = 256, sectors_per_track = 1 }") ==
        "6:22: heads must be 1 to 255, found 256");
  CHECK(complaint_in_card("size = 5\nbus = 'broad'") ==
        "6:7: bus must be \"narrow\" or \"wide\", found 'broad'");
  CHECK(complaint_in_card("size = 5\ninitiator_id = 8") ==
        "6:16: initiator_id must be 0 to 7, found 8");
  CHECK(complaint_in_card("csd = '12'") ==
        "5:7: csd: a register has 32 hexadecimal digits, found 2 characters");
  CHECK(complaint_in_card("size = 5\ncsd = '400e00325b5900003b377f800a404000'") ==
        "6:7: csd and size both state the size of the card; keep one");
}

TEST_CASE("reading a plan: what is missing or twice there") {
  CHECK(complaint_about("[card]\nsize = 5\n") == "1:1: the plan has no [[region]]");
  CHECK(complaint_about("[[region]]\nname = 'a'\ndevice = 'disk'\n") ==
        "1:1: the plan has no [card]");
  CHECK(complaint_about("[card]\n[[region]]\ndevice = 'disk'\n") == "2:1: [[region]] needs a name");
  CHECK(complaint_about("[card]\n[[region]]\nname = 'a'\n") ==
        "2:1: [[region]] needs a device, \"disk\" or \"optical\"");
  CHECK(complaint_about("[card]\n[region]\nname = 'a'\n") ==
        "2:1: region must be a list of tables: [[region]]");
  CHECK(complaint_about("[card]\n[[region]]\nname='a'\ndevice='disk'\n[[region]]\nname='a'\n"
                        "device='disk'\n") == "5:1: a second region has the name 'a'");
  CHECK(read_plan("").complaints.size() == 2);
  CHECK(
      complaint_about("card = 5\n[[region]]\nname='a'\ndevice='disk'\n").starts_with("1:8: card"));
}

TEST_CASE("reading a plan: text that is no TOML") {
  CHECK(complaint_about("[card\n").starts_with("1:6: this is no TOML: "));
  CHECK(complaint_about("[card]\nsize = 1\nsize = 2\n").starts_with("3:"));
  CHECK(complaint_about("[card]\npath = \"\xff\"\n").find("no TOML") != std::string::npos);
  CHECK(complaint_about(std::string(100000, '[')).find("no TOML") != std::string::npos);
}

TEST_CASE("reading a plan: every complaint at once, in the order of the file") {
  const ReadPlan read = read_plan("[card]\nsize = -1\nbus = 5\n[[region]]\nnmae = 'a'\n");
  REQUIRE(read.complaints.size() == 5);
  for (std::size_t i = 1; i < read.complaints.size(); ++i) {
    CHECK(read.complaints[i - 1].place.line <= read.complaints[i].place.line);
  }
}

TEST_CASE("reading a plan: complaints are safe for a terminal") {
  const std::string text = complaint_about("[card]\n[[region]]\nname='a'\ndevice=\"\\u001b[2J\"\n");
  CHECK(text.find('\x1b') == std::string::npos);
  CHECK(text.find("\\x1b[2J") != std::string::npos);
}

TEST_CASE("nearest word") {
  constexpr std::string_view kWords[] = {"size", "start", "align"};
  CHECK(nearest_word("szie", kWords) == "size");
  CHECK(nearest_word("strat", kWords) == "start");
  CHECK(nearest_word("", kWords) == "size");
  CHECK(nearest_word(std::string(1000000, 'x'), kWords) == "size");
}

}  // namespace
