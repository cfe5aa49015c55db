// What holds for every workstation family.
#include <random>

#include <catch2/catch.hpp>

#include "verdicts.h"
#include "writers/workstation_boot_writer.h"

using namespace platter;
using namespace platter::test;

TEST_CASE("workstations: nothing is seen in what is no disk of theirs") {
  std::vector<Bytes> nothing = {{}, Bytes(1), Bytes(1U << 16U)};
  for (const int fill : {0x20, 0x55, 0xE5, 0xF6, 0xFF, 0x61}) {
    nothing.emplace_back(1U << 16U, static_cast<std::byte>(fill));
  }
  std::mt19937 random(3);
  for (int i = 0; i < 60; ++i) {
    Bytes bytes(1U << 15U);
    for (std::byte& value : bytes)
      value = static_cast<std::byte>(random());
    nothing.push_back(std::move(bytes));
  }
  Bytes text;
  while (text.size() < (1U << 16U)) {
    for (const char c :
         std::string_view("The Gannet Point Computing Museum restores a Corvid.\n")) {
      text.push_back(static_cast<std::byte>(c));
    }
  }
  nothing.push_back(std::move(text));
  for (const Bytes& bytes : nothing) {
    for (const std::string_view machine : kWorkstations) {
      CAPTURE(machine, bytes.size());
      CHECK(verdict_of(machine, bytes).verdict == Verdict::none);
      CHECK(verdict_of(machine, bytes, BootAs::optical).verdict == Verdict::none);
    }
  }
}

TEST_CASE("every family has a firmware in words, and a row for disk and disc") {
  for (const std::string_view machine : kWorkstations) {
    REQUIRE(find_machine(machine) != nullptr);
    CHECK_FALSE(find_machine(machine)->firmware.empty());
    for (const BootAs as : {BootAs::disk, BootAs::optical}) {
      const BootVerdict verdict = verdict_of(machine, Bytes(4096), as);
      CHECK(verdict.machine == machine);
      CHECK(verdict.as == as);
      CHECK_FALSE(verdict.evidence.empty());
    }
  }
}

TEST_CASE("the verdicts stand in the survey") {
  const Survey found = survey_bytes(fixtures::make_sun_disk(fixtures::make_aout(0x0103)));
  const auto is_sparc_disk = [](const BootVerdict& row) {
    return row.machine == "sparc" && row.as == BootAs::disk;
  };
  const auto row = std::ranges::find_if(found.boot, is_sparc_disk);
  REQUIRE(row != found.boot.end());
  CHECK(row->verdict == Verdict::ready);
  CHECK_FALSE(any_fault(found.findings));
}

namespace {

// A disk whose first block cannot be read.
class TornDisk final : public ByteSource {
 public:
  [[nodiscard]] std::uint64_t size() const noexcept override { return 1U << 20U; }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    if (offset < 512) throw IoError("torn", 0, 512, "medium error");
    std::ranges::fill(out, std::byte{0});
    return out.size();
  }
};

}  // namespace

TEST_CASE("a block that cannot be read keeps a machine from being judged, and says so") {
  const std::vector<Layer> layers;
  const auto rows = judge_boot({layers, View(std::make_shared<TornDisk>())});
  CHECK(rows.size() == 2 * all_machines().size());
  for (const BootVerdict& row : rows) {
    if (row.machine != "sparc" && row.machine != "hppa") continue;
    CHECK(row.verdict == Verdict::none);
    REQUIRE(row.evidence.size() == 1);
    CHECK(row.evidence[0].check == "readable");
    CHECK_FALSE(row.evidence[0].holds);
    CHECK(row.evidence[0].bytes == 512);
    CHECK(row.evidence[0].detail == "medium error");
  }
}
