#include "plan/propose.h"

#include <string>
#include <vector>

#include <catch2/catch.hpp>

namespace {

using namespace platter;
using namespace platter::plan;

Plan resolved(const std::string& text) {
  const ReadPlan read = read_plan(text);
  for (const Complaint& complaint : read.complaints)
    FAIL(complaint_text("plan", complaint));
  Resolution resolution = resolve(read.plan, {});
  REQUIRE(resolution.complaints.empty());
  return std::move(resolution.plan);
}

TEST_CASE("proposal: written out") {
  const std::vector<ProposedImage> images = {
      {"dumps/system.img", 671088640, 0, false, Geometry{1024, 16, 63}},
      {"install.iso.gz", 681984000, 0, true, {}},
      {"odd.img", 1000, 5000, false, {}},
  };
  CHECK(
      propose_plan(images, 7948206080, "card.img") ==
      R"(# A first plan from the sizes of the images. Regions without a start follow the one before,
# aligned to 1 MiB. Bus ids are only a habit: disks from 0 up, optical drives from 6 down.

[card]
path = "card.img"
size = "7580 MiB"

[[region]]
name = "system"
device = "disk"
bus_id = 0
size = "640 MiB"  # 640 MiB
geometry = { heads = 16, sectors_per_track = 63 }
image = "dumps/system.img"

[[region]]
name = "install"
device = "optical"
bus_id = 6
size = "333000 cd"  # 650 MiB
block_bytes = 2048
image = "install.iso.gz"

[[region]]
name = "odd"
device = "disk"
bus_id = 1
size = 10  # 5.00 KiB
image = "odd.img"
)");
}

TEST_CASE("proposal: reads back without complaint, and fits when there is room") {
  const std::vector<ProposedImage> images = {{"a.img", 100 * kMiB, 0, false, {}},
                                             {"b/a.img", 1, 0, true, {}},
                                             {"a.img.gz", 3 * kMiB + 1, 0, false, {}}};
  const Plan plan = resolved(propose_plan(images, kGiB, ""));
  REQUIRE(plan.regions.size() == 3);
  CHECK(plan.findings.empty());
  CHECK(plan.regions[0].name == "a");
  CHECK(plan.regions[1].name == "a 2");
  CHECK(plan.regions[2].name == "a 3");
  CHECK(plan.regions[1].start == 100 * kMiB);
  CHECK(plan.regions[2].start == 101 * kMiB);
  for (std::size_t i = 0; i < 3; ++i)
    CHECK(plan.regions[i].bytes >= images[i].bytes);
  CHECK(any_fault(resolved(propose_plan(images, 50 * kMiB, "")).findings));
}

TEST_CASE("proposal: many images get a wide bus, and paths of any kind survive") {
  std::vector<ProposedImage> images;
  for (int i = 0; i < 15; ++i) {
    images.push_back({"quo\"te\\back\n\x7f" + std::to_string(i), kMiB, 0, i % 2 == 0, {}});
  }
  const Plan plan = resolved(propose_plan(images, kGiB, "c\"ard"));
  CHECK(plan.bus == Bus::wide);
  CHECK(plan.card_path == "c\"ard");
  CHECK(plan.findings.empty());  // no id twice, none of them 7
  CHECK(plan.regions[3].image == images[3].path);
  CHECK(resolved(propose_plan(std::vector<ProposedImage>{{"a\xff", 1, 0, false, {}}}, kGiB, ""))
            .regions[0]
            .image == "a%FF");
}

}  // namespace
