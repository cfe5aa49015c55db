// Every telling byte of every fixture of these labels spoiled, every fixture cut at every length,
// and random bytes with the magics planted.
#include <array>
#include <random>
#include <set>

#include <catch2/catch.hpp>

#include "label_hostility.h"
#include "more_labels.h"

using namespace platter;
using namespace platter::test;

namespace {

const std::array<const Format*, 11> kLabels = {
    &label::gpt_format,         &label::apm_format,    &label::lif_format,
    &label::amiga_format,       &label::sysv68_format, &label::ultrix_format,
    &label::solaris_x86_format, &label::svr4_format,   &label::minix_sub_format,
    &label::plan9_format,       &label::atari_format};

// The types of MBR slices that one of the labels looks into.
constexpr std::array<std::uint64_t, 4> kTypes = {0x39, 0x63, 0x81, 0x82};

std::string ask_all(const Bytes& bytes, std::size_t size) {
  const View view(std::make_shared<Prefix>(bytes, size));
  for (const Format* format : kLabels) {
    for (const Claim& claim : claims_of(*format, view)) {
      if (auto complaint = complaint_about(claim); !complaint.empty()) return complaint;
    }
    if (!format->inside_slices) continue;
    for (const std::uint64_t type : kTypes) {
      Slice slice;
      slice.start = 63 * 512;
      slice.bytes = 100000;
      slice.type = type;
      for (const Claim& claim : claims_inside(*format, view, slice, "mbr")) {
        if (auto complaint = complaint_about(claim); !complaint.empty()) return complaint;
      }
    }
  }
  return {};
}

std::vector<std::string> fixtures_of_labels() {
  std::vector<std::string> names;
  for (const std::string& name : all_hex_fixtures()) {
    for (const Format* format : kLabels) {
      if (name.starts_with("label/" + std::string(format->id) + "/")) names.push_back(name);
    }
  }
  return names;
}

std::vector<std::size_t> places_in(const std::string& name) {
  return telling_places(hex_fixture(name), 0, 20);
}

}  // namespace

TEST_CASE("hostile labels, second part: every label has fixtures") {
  CHECK(fixtures_of_labels().size() >= kLabels.size());
}

TEST_CASE("hostile labels, second part: every byte spoiled") {
  for (const std::string& name : fixtures_of_labels())
    check_each_byte_spoiled(name, places_in(name), ask_all);
}

TEST_CASE("hostile labels, second part: cut at every length") {
  for (const std::string& name : fixtures_of_labels()) {
    const Bytes bytes = hex_fixture(name);
    for (const std::size_t size : places_in(name)) {
      const std::string complaint = ask_all(bytes, size);
      if (!complaint.empty()) FAIL_CHECK(name << " cut at " << size << ": " << complaint);
    }
  }
}

TEST_CASE("hostile labels, second part: many spoiled bytes at once") {
  std::mt19937 random(20240608);  // fixed, so that a failure comes again
  for (const std::string& name : fixtures_of_labels())
    check_bytes_spoiled_together(name, places_in(name), random, 200, ask_all);
}

TEST_CASE("hostile labels, second part: random bytes with the magics planted are no labels") {
  struct Magic {
    std::size_t at;
    std::uint64_t value;
    unsigned width;
    ByteOrder order;
  };
  // gpt, apm (two), lif, amiga, sysv68, ultrix, solaris-x86, svr4 (two), minix-sub, atari
  constexpr std::array<Magic, 12> kMagics = {{
      {512, 0x5452415020494645, 8, ByteOrder::little},
      {0, 0x4552, 2, ByteOrder::big},
      {512, 0x504D, 2, ByteOrder::big},
      {0, 0x8000, 2, ByteOrder::big},
      {1024, 0x5244534B, 4, ByteOrder::big},
      {248, 0x4D4F544F524F4C41, 8, ByteOrder::big},
      {16312, 0x00032957, 4, ByteOrder::little},
      {512 + 12, 0x600DDEEE, 4, ByteOrder::little},
      {29 * 512 + 4, 0xCA5E600D, 4, ByteOrder::little},
      {510, 0x55AA, 2, ByteOrder::big},
      {454, 0x0147454D, 4, ByteOrder::big},
      {512, 0x7061727420, 5, ByteOrder::big},
  }};
  std::mt19937 random(1993);
  Bytes bytes(32768);
  for (int round = 0; round < 400; ++round) {
    for (std::byte& byte : bytes)
      byte = static_cast<std::byte>(random() & 0xFFU);
    const Magic& first = kMagics[static_cast<std::size_t>(round) % kMagics.size()];
    const Magic& second = kMagics[random() % kMagics.size()];
    put_number(bytes, first.at, first.value, first.width, first.order);
    put_number(bytes, second.at, second.value, second.width, second.order);
    const View view = memory_view(bytes);
    for (const Format* format : kLabels) {
      if (!claims_of(*format, view).empty()) FAIL_CHECK(format->id << " in round " << round);
    }
  }
}
