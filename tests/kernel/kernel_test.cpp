// A stock Linux kernel reads what our fixture writers write.
//
// Outside reference: the partition parsers (block/partitions) and filesystem drivers (fs) of the
// kernel that Debian ships, in an emulator. They share no code with platter.
#include <algorithm>
#include <exception>
#include <map>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "kernel/guest.h"
#include "kernel/images.h"
#include "support/survey.h"

using namespace platter;
using namespace platter::test;

namespace {

constexpr std::uint64_t kBlock = 512;

// platter's slices of that label, with the kernel's numbers where they are known.
std::vector<GuestSlice> slices_of(const TableImage& table) {
  std::vector<GuestSlice> slices;
  const Survey survey = survey_bytes(table.image);
  const Layer* label = layer(survey, table.name);
  REQUIRE(label != nullptr);
  const auto take = [&](const Layer& one) {
    if (one.kind != LayerKind::slice || one.format != table.name) return;
    GuestSlice slice;
    const std::string id = one.id.substr(one.id.rfind('/') + 1);
    if (table.number != nullptr) slice.number = table.number(id);
    slice.first = one.start / kBlock;
    slice.blocks = one.bytes / kBlock;
    // Linux block/partitions/msdos.c shows two blocks of an extended partition, whatever its size.
    if (one.role == SliceRole::container) slice.blocks = 2;
    slices.push_back(slice);
  };
  for_each_layer(label->layers, take);
  std::ranges::sort(slices);
  return slices;
}

std::string words(std::vector<GuestSlice> slices, bool numbered) {
  if (!numbered) {
    for (GuestSlice& slice : slices)
      slice.number = 0;
    std::ranges::sort(slices);
  }
  std::string all;
  for (const GuestSlice& slice : slices) {
    all += fmt::format("{}:{}+{} ", slice.number, slice.first, slice.blocks);
  }
  return all;
}

// One boot for all of them.
struct Witnessed {
  std::vector<VolumeImage> volumes = {};
  std::map<std::string, GuestAnswer> answers = {};
  std::string trouble = {};  ///< why there is no answer
};

const Witnessed& witnessed() {
  static const Witnessed kAll = [] {
    Witnessed all;
    all.volumes = volume_images();
    std::vector<GuestJob> jobs;
    for (const TableImage& table : table_images())
      jobs.push_back({table.name, table.image});
    for (const VolumeImage& one : all.volumes) {
      jobs.push_back({one.name, one.image, one.type, one.options});
    }
    try {
      all.answers = ask_kernel(jobs);
    } catch (const std::exception& problem) {
      all.trouble = problem.what();
    }
    return all;
  }();
  return kAll;
}

}  // namespace

TEST_CASE("a stock kernel finds the slices that platter finds", "[kernel]") {
  REQUIRE(witnessed().trouble == "");
  for (const TableImage& table : table_images()) {
    INFO(table.name);
    REQUIRE(witnessed().answers.contains(table.name));
    const GuestAnswer& answer = witnessed().answers.at(table.name);
    CHECK(answer.answered);
    CHECK(answer.problems == std::vector<std::string>{});
    CHECK(!answer.slices.empty());
    const bool numbered = table.number != nullptr;
    CHECK(words(slices_of(table), numbered) == words(answer.slices, numbered));
  }
}

TEST_CASE("a stock kernel reads the files that the writers were given", "[kernel]") {
  REQUIRE(witnessed().trouble == "");
  for (const VolumeImage& one : witnessed().volumes) {
    INFO(one.name << " " << one.options);
    REQUIRE(witnessed().answers.contains(one.name));
    const GuestAnswer& answer = witnessed().answers.at(one.name);
    CHECK(answer.answered);
    CHECK(answer.problems == std::vector<std::string>{});
    CHECK(answer.tree.size() == one.tree.size());
    CHECK(differences(one.tree, answer.tree) == "");
  }
}
