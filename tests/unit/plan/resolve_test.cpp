// Filling in and checking plans: the worked example, each check, and fit and overlap decisions of
// ten thousand generated plans against a bitmap of the card.
#include <algorithm>
#include <random>
#include <string>
#include <string_view>
#include <vector>

#include <catch2/catch.hpp>

#include "plan/capacity.h"
#include "plan/plan.h"

namespace {

using namespace platter;
using namespace platter::plan;

Plan plan_of(std::string_view text, const Known& known = {}) {
  const ReadPlan read = read_plan(text);
  for (const Complaint& complaint : read.complaints)
    FAIL(complaint_text("plan", complaint));
  Resolution resolution = resolve(read.plan, known);
  for (const Complaint& complaint : resolution.complaints)
    FAIL(complaint_text("plan", complaint));
  return std::move(resolution.plan);
}

std::string trouble_of(std::string_view text, const Known& known = {}) {
  const Resolution resolution = resolve(read_plan(text).plan, known);
  return resolution.complaints.empty() ? "" : complaint_text("plan", resolution.complaints[0]);
}

std::vector<Finding> findings_with(const Plan& plan, FindingCode code) {
  std::vector<Finding> found;
  std::ranges::copy_if(plan.findings, std::back_inserter(found),
                       [code](const Finding& finding) { return finding.code == code; });
  return found;
}

bool has(const Plan& plan, FindingCode code, Severity severity) {
  const auto found = findings_with(plan, code);
  return std::ranges::any_of(found,
                             [severity](const Finding& f) { return f.severity == severity; });
}

KnownImage image_of(std::uint64_t bytes) {
  KnownImage image;
  image.bytes = bytes;
  return image;
}

Known known_image(KnownImage image) {
  Known known;
  known.images.emplace_back(std::move(image));
  return known;
}

TEST_CASE("worked example: a disc, and a second device where it ends") {
  // Common practice, no source: an 80-minute disc is 360,000 sectors of 2048 bytes, about 700 MiB;
  // the next device starts right behind it, and the copy counts in the same sectors.
  const Plan plan = plan_of(R"(
[card]
size = "4 GiB"
align = "1 cd"
[[region]]
name = "install disc"
device = "optical"
bus_id = 6
size = "360000 cd"
[[region]]
name = "disk"
device = "disk"
bus_id = 0
size = "1 GiB"
)");
  REQUIRE(plan.regions.size() == 2);
  CHECK(plan.regions[0].start == 0);
  CHECK(plan.regions[0].bytes == 737280000);
  CHECK(plan.regions[0].disc == "80-minute disc");
  CHECK(plan.regions[0].block_bytes == 2048);
  CHECK(plan.regions[1].start == 737280000);
  CHECK(plan.regions[1].start / 2048 == 360000);
  CHECK(plan.regions[1].start / 512 == 1440000);
  CHECK(plan.findings.empty());
  REQUIRE(plan.gaps.size() == 1);
  CHECK(plan.gaps[0] == Gap{737280000 + kGiB, 4 * kGiB - kGiB - 737280000});
}

TEST_CASE("filling in: starts follow the region before, aligned") {
  const Plan plan = plan_of(R"(
[card]
size = "100 MiB"
[[region]]
name = "a"
device = "disk"
size = 3
[[region]]
name = "b"
device = "disk"
size = 1
[[region]]
name = "c"
device = "disk"
size = 1
align = 1
[[region]]
name = "d"
device = "disk"
size = 1
align = "10 MiB"
)");
  CHECK(plan.regions[0].start == 0);
  CHECK(plan.regions[1].start == kMiB);
  CHECK(plan.regions[2].start == kMiB + 512);
  CHECK(plan.regions[3].start == 10 * kMiB);
  CHECK(plan.regions[3].start_filled);
  CHECK(plan.gaps.size() == 3);
}

TEST_CASE("filling in: sizes from images and geometries, cylinders from sizes") {
  Known known;
  known.images = {image_of(1000), image_of(5000), std::nullopt};
  const Plan plan = plan_of(R"(
[card]
size = "100 MiB"
[[region]]
name = "a"
device = "disk"
image = "a"
[[region]]
name = "b"
device = "optical"
image = "b"
[[region]]
name = "c"
device = "disk"
geometry = { cylinders = 10, heads = 4, sectors_per_track = 32 }
[[region]]
name = "d"
device = "disk"
size = 1300
geometry = { heads = 4, sectors_per_track = 32 }
)",
                            known);
  CHECK(plan.regions[0].bytes == 1024);
  CHECK(plan.regions[1].bytes == 6144);
  CHECK(plan.regions[2].bytes == 1280 * 512);
  CHECK(plan.regions[3].geometry == Geometry{10, 4, 32});
  CHECK(plan.regions[3].cylinders_filled);
  const auto rest = findings_with(plan, FindingCode::geometry_differs);
  REQUIRE(rest.size() == 1);
  CHECK(rest[0].severity == Severity::note);
  CHECK(rest[0].bytes == 20 * 512);
}

TEST_CASE("filling in: bus ids nobody asked for are the lowest free ones") {
  std::string text = "[card]\nsize = 1000\nalign = 1\n";
  for (const char* id : {"", "bus_id = 0", "", "bus_id = 2", "", "", "", ""}) {
    text += "[[region]]\nname = 'r" + std::to_string(text.size()) +
            "'\ndevice = 'disk'\nsize = 1\n" + id + "\n";
  }
  const Plan plan = plan_of(text);
  const std::vector<std::uint64_t> wanted = {1, 0, 3, 2, 4, 5, 6, 7};
  for (std::size_t i = 0; i < wanted.size(); ++i)
    CHECK(plan.regions[i].bus_id == wanted[i]);
  CHECK(has(plan, FindingCode::bus_id_reserved, Severity::caution));  // only 7 was left
}

TEST_CASE("filling in: what cannot be") {
  CHECK(trouble_of("[card]\n[[region]]\nname='a'\ndevice='disk'\nsize=1\n")
            .starts_with("plan:1:1: the size of the card"));
  CHECK(trouble_of("[card]\nsize=9\n[[region]]\nname='a'\ndevice='disk'\n") ==
        "plan:3:1: region 'a' has no size, and no image to take it from");
  CHECK(trouble_of("[card]\nsize=9\n[[region]]\nname='a'\ndevice='disk'\nimage='x'\n") ==
        "plan:3:1: region 'a' has no size, and no readable image to take it from");
  CHECK(trouble_of("[card]\nsize=9\n[[region]]\nname='a'\ndevice='disk'\nimage='x'\n",
                   known_image(image_of(0))) ==
        "plan:3:1: region 'a' has no size, and its image is empty");
  CHECK(
      trouble_of("[card]\nsize=9\n[[region]]\nname='a'\ndevice='disk'\nstart='18446744073709551000 "
                 "B'\nsize='1 KiB'\n")
          .find("past what 64 bits") != std::string::npos);
}

// A plan of one region with further lines, on a card of 8 GiB.
Plan one_region(std::string_view device, std::string_view lines, const Known& known = {}) {
  return plan_of("[card]\nsize = '8 GiB'\n[[region]]\nname = 'r'\ndevice = '" +
                     std::string(device) + "'\n" + std::string(lines) + "\n",
                 known);
}

TEST_CASE("check: beyond the card") {
  const Plan plan = one_region("disk", "start = '8191 MiB'\nsize = '2 MiB'");
  const auto found = findings_with(plan, FindingCode::region_beyond_card);
  REQUIRE(found.size() == 1);
  CHECK(found[0].start == 8 * kGiB);
  CHECK(found[0].bytes == kMiB);
  CHECK(found[0].layer == "r");
  CHECK_FALSE(has(one_region("disk", "start = '8190 MiB'\nsize = '2 MiB'"),
                  FindingCode::region_beyond_card, Severity::fault));
  Known smaller;
  smaller.card_bytes = kGiB;
  const Plan measured = one_region("disk", "start = '1023 MiB'\nsize = '2 MiB'", smaller);
  CHECK(measured.card_bytes == kGiB);
  CHECK(has(measured, FindingCode::region_beyond_card, Severity::fault));
  CHECK(has(measured, FindingCode::region_beyond_card, Severity::caution));
}

TEST_CASE("check: too small for the image, and for what it claims") {
  KnownImage image = image_of(kMiB);
  image.claimed_bytes = kMiB + 512;
  image.claimed_by = "Sun disk label";
  CHECK(findings_with(one_region("disk", "size='1 MiB'\nimage='i'", known_image(image)),
                      FindingCode::region_too_small)
            .size() == 1);
  CHECK(findings_with(one_region("disk", "size=2047\nimage='i'", known_image(image)),
                      FindingCode::region_too_small)
            .size() == 2);
  CHECK(findings_with(one_region("disk", "size=2049\nimage='i'", known_image(image)),
                      FindingCode::region_too_small)
            .empty());
}

TEST_CASE("check: whole blocks of the device") {
  CHECK(findings_with(one_region("optical", "start=1\nsize=3"), FindingCode::region_misaligned)
            .size() == 2);
  CHECK(findings_with(one_region("optical", "start=4\nsize=8"), FindingCode::region_misaligned)
            .empty());
  CHECK(findings_with(one_region("optical", "start=1\nsize=3\nblock_bytes=512"),
                      FindingCode::region_misaligned)
            .empty());
  CHECK(has(one_region("disk", "start='100 B'\nsize=3"), FindingCode::region_misaligned,
            Severity::fault));
}

TEST_CASE("check: bus ids") {
  CHECK(
      has(one_region("disk", "size=1\nbus_id=7"), FindingCode::bus_id_reserved, Severity::caution));
  CHECK_FALSE(
      has(one_region("disk", "size=1\nbus_id=6"), FindingCode::bus_id_reserved, Severity::caution));
  const Plan plan = plan_of(
      "[card]\nsize=99\nalign=1\n[[region]]\nname='a'\ndevice='disk'\nsize=1\nbus_id=3\n"
      "[[region]]\nname='b'\ndevice='disk'\nsize=1\nbus_id=3\n");
  REQUIRE(findings_with(plan, FindingCode::bus_id_clash).size() == 1);
  CHECK(findings_with(plan, FindingCode::bus_id_clash)[0].layer == "b");
}

TEST_CASE("check: reach of 6-byte commands and of signed byte offsets") {
  // X3.131-1994: READ(6) has 21 bits of block address, so 2^21 blocks are the most.
  CHECK(one_region("disk", "size=2097152").findings.empty());
  const auto found =
      findings_with(one_region("disk", "start=2048\nsize=2097153"), FindingCode::reach_6_byte);
  REQUIRE(found.size() == 1);
  CHECK(found[0].start == (2048ULL + 2097152) * 512);
  CHECK(found[0].bytes == 512);
  CHECK(findings_with(one_region("disk", "size='2 GiB'"), FindingCode::reach_2gib).empty());
  CHECK(findings_with(one_region("disk", "size=4194305"), FindingCode::reach_2gib).size() == 1);
}

TEST_CASE("check: geometry against size, label fields and the image's label") {
  const auto with = [](std::string_view geometry, std::string_view more = "", Known known = {}) {
    return one_region(
        "disk", "size=1000\ngeometry={" + std::string(geometry) + "}\n" + std::string(more), known);
  };
  CHECK(with("cylinders=100,heads=1,sectors_per_track=10").findings.empty());
  CHECK(has(with("cylinders=101,heads=1,sectors_per_track=10"), FindingCode::geometry_differs,
            Severity::fault));
  CHECK(has(with("cylinders=99,heads=1,sectors_per_track=10"), FindingCode::geometry_differs,
            Severity::caution));
  CHECK(has(with("heads=16,sectors_per_track=63"), FindingCode::geometry_differs, Severity::fault));
  CHECK(with("heads=10,sectors_per_track=10").findings.empty());

  KnownImage image = image_of(512);
  image.geometry = Geometry{5, 10, 20};
  CHECK(has(with("heads=10,sectors_per_track=10", "image='i'", known_image(image)),
            FindingCode::geometry_differs, Severity::caution));
  image.geometry = Geometry{5, 10, 10};
  CHECK(with("heads=10,sectors_per_track=10", "image='i'", known_image(image)).findings.empty());

  // 16 bits of cylinders (illumos sys/dklabel.h).
  CHECK(one_region("disk", "size=65535\ngeometry={heads=1,sectors_per_track=1}\nlabel='sun'")
            .findings.empty());
  CHECK(has(one_region("disk", "size=65536\ngeometry={heads=1,sectors_per_track=1}\nlabel='sun'"),
            FindingCode::geometry_differs, Severity::fault));
  KnownImage labelled = image_of(512);
  labelled.label_format = "sun";
  CHECK(has(one_region("disk", "size=65536\ngeometry={heads=1,sectors_per_track=1}\nimage='i'",
                       known_image(labelled)),
            FindingCode::geometry_differs, Severity::fault));
}

TEST_CASE("check: optical drives and what lies in them") {
  CHECK(has(one_region("optical", "size=8\nblock_bytes=1024"), FindingCode::block_size_mismatch,
            Severity::fault));
  CHECK(has(one_region("optical", "size='360001 cd'"), FindingCode::block_size_mismatch,
            Severity::caution));
  CHECK(one_region("optical", "size='360000 cd'").findings.empty());

  KnownImage image = image_of(2048);
  image.block_bytes = 2048;
  CHECK(one_region("optical", "size='1 cd'\nimage='i'", known_image(image)).findings.empty());
  CHECK(has(one_region("optical", "size='1 cd'\nblock_bytes=512\nimage='i'", known_image(image)),
            FindingCode::block_size_mismatch, Severity::note));
  CHECK(has(one_region("optical", "size='1 cd'\nimage='i'\nmachine='sparc'", known_image(image)),
            FindingCode::block_size_mismatch, Severity::note));
  CHECK(one_region("optical", "size='1 cd'\nblock_bytes=512\nimage='i'\nmachine='sparc'",
                   known_image(image))
            .findings.empty());
  image.block_bytes = 512;
  CHECK(has(one_region("optical", "size='1 cd'\nimage='i'", known_image(image)),
            FindingCode::block_size_mismatch, Severity::note));
  image.framing = "frames-2352";
  const Plan framed = one_region("optical", "size='1 cd'\nimage='i'", known_image(image));
  REQUIRE(has(framed, FindingCode::block_size_mismatch, Severity::fault));
  CHECK(framed.findings[0].message.find("platter frames --plain") != std::string::npos);
  image.framing = "swap16";
  const Plan swapped = one_region("disk", "size='1 cd'\nimage='i'", known_image(image));
  REQUIRE(has(swapped, FindingCode::bytes_swapped, Severity::fault));
  CHECK(swapped.findings[0].message.find("platter plain") != std::string::npos);
  CHECK_FALSE(has(swapped, FindingCode::block_size_mismatch, Severity::fault));
  image.framing.clear();
  CHECK(has(one_region("optical", "size='2 cd'\nimage='i'", known_image(image_of(2049))),
            FindingCode::image_odd_size, Severity::caution));
}

TEST_CASE("check: the verdict of the machine that is to start from a region") {
  KnownImage image = image_of(512);
  image.boot_verdict = "incomplete";
  image.boot_reason = "no boot block";
  const Plan plan = one_region("disk", "size=1\nimage='i'\nmachine='sparc'", known_image(image));
  REQUIRE(has(plan, FindingCode::boot_missing, Severity::fault));
  CHECK(plan.findings[0].message == "a sparc would not start from 'r': no boot block");
  image.boot_verdict = "ready";
  CHECK(one_region("disk", "size=1\nimage='i'\nmachine='sparc'", known_image(image))
            .findings.empty());
}

TEST_CASE("ten thousand plans: fit and overlap agree with a bitmap of the card") {
  std::mt19937 random(11);
  constexpr std::uint64_t kMost = 64;  // blocks; small, so that things collide
  std::uint64_t overlaps = 0;
  std::uint64_t sound = 0;
  for (int round = 0; round < 10000; ++round) {
    WrittenPlan written;
    Known known;
    const std::uint64_t card = 1 + random() % kMost;
    written.card_size = Written<std::uint64_t>{card * 512, {}};
    written.align = (1 + random() % 8) * 512;
    for (std::uint32_t n = 1 + random() % 4; n > 0; --n) {
      WrittenRegion region;
      region.name = std::string(1, static_cast<char>('a' + n));
      if (random() % 2 == 0) region.start = Written<std::uint64_t>{random() % kMost * 512, {}};
      region.size = Written<std::uint64_t>{(1 + random() % 20) * 512, {}};
      region.image = Written<std::string>{"i", {}};
      known.images.emplace_back(image_of((1 + random() % 20) * 512));
      written.regions.push_back(region);
    }
    const Resolution resolution = resolve(written, known);
    REQUIRE(resolution.complaints.empty());
    const Plan& plan = resolution.plan;

    // The bitmap: for each block of the card and beyond, the regions that have it.
    std::vector<std::vector<std::size_t>> owners(2 * kMost + 200);
    for (std::size_t i = 0; i < plan.regions.size(); ++i) {
      for (std::uint64_t b = 0; b < plan.regions[i].bytes / 512; ++b) {
        owners[plan.regions[i].start / 512 + b].push_back(i);
      }
    }
    for (std::size_t i = 0; i < plan.regions.size(); ++i) {
      std::vector<std::uint64_t> shared(i);
      std::uint64_t beyond = 0;
      std::uint64_t own = 0;
      for (std::size_t b = 0; b < owners.size(); ++b) {
        if (std::ranges::count(owners[b], i) == 0) continue;
        ++own;
        if (b >= card) ++beyond;
        for (const std::size_t other : owners[b]) {
          if (other < i) ++shared[other];
        }
      }
      std::uint64_t want_overlaps = 0;
      std::uint64_t want_shared = 0;
      for (const std::uint64_t blocks : shared) {
        want_overlaps += blocks > 0 ? 1U : 0U;
        want_shared += blocks;
      }
      std::uint64_t found_overlaps = 0;
      std::uint64_t found_shared = 0;
      std::uint64_t found_beyond = 0;
      bool small = false;
      for (const Finding& finding : plan.findings) {
        if (finding.layer != plan.regions[i].name) continue;
        if (finding.code == FindingCode::region_overlap) {
          ++found_overlaps;
          found_shared += finding.bytes / 512;
        }
        if (finding.code == FindingCode::region_beyond_card) found_beyond += finding.bytes / 512;
        small = small || finding.code == FindingCode::region_too_small;
      }
      REQUIRE(found_overlaps == want_overlaps);
      REQUIRE(found_shared == want_shared);
      REQUIRE(found_beyond == beyond);
      REQUIRE(small == (known.images[i]->bytes / 512 > own));
      overlaps += want_overlaps;
    }
    // Gaps are exactly the blocks of the card that nobody has, and the map says the same.
    std::vector<bool> gap(card);
    for (const Gap& one : plan.gaps) {
      for (std::uint64_t b = 0; b < one.bytes / 512; ++b)
        gap[one.start / 512 + b] = true;
    }
    const BlockMap map = card_map(plan);
    for (std::size_t b = 0; b < card; ++b) {
      REQUIRE(gap[b] == owners[b].empty());
      REQUIRE((map.at(b)->state == BlockState::gap) == owners[b].empty());
      if (!owners[b].empty()) REQUIRE(map.at(b)->note == plan.regions[owners[b][0]].name);
    }
    sound += any_fault(plan.findings) ? 0U : 1U;
  }
  CHECK(overlaps > 1000);  // the generator makes both kinds
  CHECK(sound > 300);
}

TEST_CASE("paths are seen from where the plan lies") {
  CHECK(beside("plan.toml", "a.img") == "a.img");
  CHECK(beside("dir/plan.toml", "a.img") == "dir/a.img");
  CHECK(beside("/dir/plan.toml", "../a.img") == "/dir/../a.img");
  CHECK(beside("dir/plan.toml", "/abs/a.img") == "/abs/a.img");
}

}  // namespace
