// The lines are run by the system's own sh and dd (POSIX.1-2017), and what lies on the card then is
// compared with a copy made by hand.
#include "plan/copy_command.h"

#include <algorithm>
#include <filesystem>
#include <random>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "support/files.h"
#include "support/noise.h"

namespace {

using namespace platter::plan;
using platter::test::noise;
using platter::test::read_file;
using platter::test::run;
using platter::test::TemporaryDirectory;
using platter::test::write_file;

TEST_CASE("copy block: the largest power of two that divides the start, 4 MiB at most") {
  CHECK(copy_block_bytes(0) == 4194304);
  CHECK(copy_block_bytes(512) == 512);
  CHECK(copy_block_bytes(3 * 512) == 512);
  CHECK(copy_block_bytes(1048576) == 1048576);
  CHECK(copy_block_bytes(3145728) == 1048576);
  CHECK(copy_block_bytes(std::uint64_t{1} << 40) == 4194304);
  CHECK(copy_block_bytes(737280000) == 131072);  // where an 80-minute disc ends
  CHECK(copy_block_bytes(1) == 1);
}

TEST_CASE("copy line: as a person reads it") {
  CHECK(copy_command("system.img", {}, "card.img", 1048576).line ==
        "dd if='system.img' of='card.img' bs=1048576 seek=1 conv=notrunc");
  CHECK(copy_command("a b.gz", {"gzip"}, "/dev/card", 737280000).line ==
        "gzip -dc <'a b.gz' | dd of='/dev/card' ibs=65536 obs=131072 seek=5625 conv=notrunc");
  CHECK(copy_command("a.xz", {"xz", "bzip2"}, "c", 0).line ==
        "xz -dc <'a.xz' | bzip2 -dc | dd of='c' ibs=65536 obs=4194304 seek=0 conv=notrunc");
  CHECK(copy_command("it's", {}, "c", 0).line ==
        "dd if='it'\\''s' of='c' bs=4194304 seek=0 conv=notrunc");
  CHECK(copy_command("-a\n", {}, "c", 0).line ==
        "i=$(printf '\\055a\\012.') && dd if=\"${i%.}\" of='c' bs=4194304 seek=0 conv=notrunc");
}

TEST_CASE("copy line: what has none says why") {
  CHECK(copy_command("a.zip", {"zip"}, "c", 0).line.empty());
  CHECK(copy_command("a.zip", {"zip"}, "c", 0).reason ==
        "no portable command takes an image out of a zip archive");
  Plan plan;
  Region region;
  CHECK(copy_command(plan, region, "p").reason == "the region has no image");
  region.image = "i";
  CHECK(copy_command(plan, region, "p").reason == "the plan names no card");
  plan.card_path = "c";
  CHECK(copy_command(plan, region, "dir/p").line ==
        "dd if='dir/i' of='dir/c' bs=4194304 seek=0 conv=notrunc");
  region.known.emplace();
  region.known->framing = "frames-2352";
  CHECK(copy_command(plan, region, "p").line.empty());
  CHECK(copy_command(plan, region, "p").reason ==
        "the image is stored as frames-2352; make the plain image with 'platter plain' first");
}

const std::vector<std::string> kNames = {
    "plain",
    "with space",
    " leading",
    "trailing ",
    "it's",
    "\"double\"",
    "new\nline",
    "newline\n",
    "\n\n",
    "$HOME",
    "`id`",
    "$(id)",
    "-dash",
    "--",
    "back\\slash",
    "end\\",
    "%s%d%",
    "\x1b[31mred",
    "\xff\xfe",
    "\xc3\xbcml\xc3\xa4ut",
    "*?[a-z]",
    "a;b|c&d>e<f",
    "tab\there",
    "\r",
    "!bang#hash~",
    "\xe2\x80\xae"
    "override",
    "=equals",
    "of=x",
    "'\n'",
    "1\n2'3\\4%5\"6$7",
};

struct Made {
  std::vector<std::byte> card;
  std::string commands;
};

// One generated plan: files in the scratch folder, the card by a copy made by hand, and the lines.
Made generate(std::mt19937& random, const TemporaryDirectory& scratch,
              const std::string& card_name) {
  Made made;
  made.card = noise(random, 200000 + random() % 200000);
  write_file(scratch.file(card_name), made.card);
  std::vector<std::string> names = kNames;
  std::ranges::shuffle(names, random);
  const int count = 1 + static_cast<int>(random() % 3);
  for (int i = 0; i < count; ++i) {
    const auto image = noise(random, 1 + random() % 60000);
    std::uint64_t start = random() % (made.card.size() - image.size());
    // Mostly blocks, sometimes optical sectors or large powers of two, sometimes any byte at all.
    const std::uint64_t unit[] = {512, 512, 2048, 65536, 1};
    start -= start % unit[random() % 5];
    std::ranges::copy(image, made.card.begin() + static_cast<std::ptrdiff_t>(start));
    const std::string name = names[static_cast<std::size_t>(i)] + ".img";
    const bool packed = random() % 3 == 0;
    if (packed) {
      write_file(scratch.file("unpacked"), image);
      REQUIRE(run("cd " + scratch.path() + " && gzip -c <unpacked >packed").status == 0);
      std::filesystem::rename(scratch.file("packed"), scratch.file(name));
    } else {
      write_file(scratch.file(name), image);
    }
    const CopyCommand command =
        copy_command(name, packed ? std::vector<std::string>{"gzip"} : std::vector<std::string>{},
                     card_name, start);
    REQUIRE_FALSE(command.line.empty());
    CHECK(
        std::ranges::all_of(command.line, [](unsigned char c) { return c >= 0x20 && c != 0x7F; }));
    made.commands += command.line + " 2>errors || exit 1\n";
  }
  return made;
}

TEST_CASE("copy lines of 200 generated plans, run by sh, give what a copy by hand gives") {
  std::mt19937 random(21);
  for (int round = 0; round < 200; ++round) {
    const TemporaryDirectory scratch;
    const std::string card_name =
        round % 2 == 0 ? "card" : kNames[static_cast<std::size_t>(round) % kNames.size()];
    const Made made = generate(random, scratch, card_name);
    CAPTURE(round, made.commands);
    REQUIRE(run("cd " + scratch.path() + "\n" + made.commands).status == 0);
    REQUIRE(read_file(scratch.file(card_name)) == made.card);
  }
}

}  // namespace
