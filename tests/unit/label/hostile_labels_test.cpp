// Every byte of every label spoiled, every fixture cut at every length: the labels must answer,
// quickly and in order.
#include <array>
#include <random>
#include <set>

#include <catch2/catch.hpp>

#include "claims.h"
#include "label_hostility.h"
#include "writers/bsd_writer.h"
#include "writers/dlv_writer.h"
#include "writers/sgi_writer.h"
#include "writers/sun_writer.h"

using namespace platter;
using namespace platter::test;

namespace {

const std::array<const Format*, 5> kLabels = {&label::sun_format, &label::sgi_format,
                                              &label::bsd_format, &label::dlv_format,
                                              &label::mbr_format};

// Asks every label about the first `size` bytes; returns what is wrong with the answers.
std::string ask_all(const Bytes& bytes, std::size_t size) {
  const View view(std::make_shared<Prefix>(bytes, size));
  Slice slice;
  slice.start = 512;
  slice.bytes = size;
  slice.type = 0xA5;
  for (const Format* format : kLabels) {
    for (const Claim& claim : claims_of(*format, view)) {
      if (auto complaint = complaint_about(claim); !complaint.empty()) return complaint;
    }
    if (!format->inside_slices) continue;
    for (const Claim& claim : claims_inside(*format, view, slice, "mbr")) {
      if (auto complaint = complaint_about(claim); !complaint.empty()) return complaint;
    }
  }
  return {};
}

std::vector<std::string> label_fixtures() {
  std::vector<std::string> names;
  for (const std::string& name : all_hex_fixtures()) {
    for (const char* folder :
         {"label/sun/", "label/sgi/", "label/bsd/", "label/dlv/", "label/mbr/"}) {
      if (name.starts_with(folder)) names.push_back(name);
    }
  }
  return names;
}

std::vector<std::size_t> places_in(const std::string& name) {
  return telling_places(hex_fixture(name), 600, 40);
}

}  // namespace

TEST_CASE("hostile labels: every byte spoiled") {
  for (const std::string& name : label_fixtures())
    check_each_byte_spoiled(name, places_in(name), ask_all);
}

TEST_CASE("hostile labels: cut at every length") {
  for (const std::string& name : label_fixtures()) {
    const Bytes bytes = hex_fixture(name);
    // Only the chain of extended records is longer than the boot area; there steps will do.
    for (std::size_t size = 0; size <= bytes.size(); size += size < 16384 ? 1 : 7) {
      const std::string complaint = ask_all(bytes, size);
      if (!complaint.empty()) FAIL_CHECK(name << " cut at " << size << ": " << complaint);
    }
  }
}

TEST_CASE("hostile labels: absurd numbers under a right checksum") {
  struct Sealed {
    const char* name;
    std::size_t start;
    std::size_t bytes;
    void (*seal)(Bytes&);
  };
  const std::array<Sealed, 6> labels = {{
      {"label/sun/good.hex", 128, 380, [](Bytes& b) { fixtures::seal_sun_label(b); }},
      {"label/sun/luna.hex", 128, 380, [](Bytes& b) { fixtures::seal_sun_label(b); }},
      {"label/sgi/good.hex", 4, 500, [](Bytes& b) { fixtures::seal_sgi_label(b); }},
      {"label/bsd/big.hex", 64 + 4, 192,
       [](Bytes& b) { fixtures::seal_bsd_label(b, 64, ByteOrder::big); }},
      {"label/dlv/version3.hex", 4, 554, [](Bytes& b) { fixtures::seal_dlv_label(b, 0); }},
      {"label/dlv/version2.hex", 4, 600, [](Bytes& b) { fixtures::seal_dlv_label(b, 0); }},
  }};
  for (const Sealed& label : labels) {
    const Bytes whole = hex_fixture(label.name);
    for (const std::uint64_t value : {0ULL, 1ULL, 0x7FFFFFFFULL, 0x80000000ULL, 0xFFFFFFFFULL}) {
      for (std::size_t at = label.start; at + 4 <= label.start + label.bytes; at += 2) {
        Bytes bytes = whole;
        bytes.resize(std::max<std::size_t>(bytes.size(), 1024));
        put_number(bytes, at, value, 4, ByteOrder::big);
        label.seal(bytes);
        const std::string complaint = ask_all(bytes, bytes.size());
        if (!complaint.empty()) FAIL_CHECK(label.name << " at " << at << ": " << complaint);
      }
    }
  }
}

TEST_CASE("hostile labels: many spoiled bytes at once") {
  std::mt19937 random(20240607);  // fixed, so that a failure comes again
  for (const std::string& name : label_fixtures())
    check_bytes_spoiled_together(name, places_in(name), random, 300, ask_all);
}

TEST_CASE("hostile labels: an area full of BSD magics") {
  Bytes bytes(16384);
  for (std::size_t at = 0; at + 4 <= bytes.size(); at += 4) {
    put_number(bytes, at, 0x82564557, 4, ByteOrder::big);
  }
  CHECK(ask_all(bytes, bytes.size()).empty());
}

TEST_CASE("hostile labels: random sectors are no labels") {
  std::mt19937 random(1992);
  for (int round = 0; round < 2000; ++round) {
    Bytes bytes(2048);
    for (std::byte& byte : bytes)
      byte = static_cast<std::byte>(random() & 0xFFU);
    bytes[510] = std::byte{0x55};
    bytes[511] = std::byte{0xAA};
    const View view = memory_view(bytes);
    for (const Format* format : kLabels) {
      if (!claims_of(*format, view).empty()) FAIL_CHECK(format->id << " in round " << round);
    }
  }
}
