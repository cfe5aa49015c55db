// 68k machines whose ROM reads an APM.
#include <functional>

#include <catch2/catch.hpp>

#include "boot/apm_code.h"
#include "pc_verdicts.h"
#include "writers/apm_writer.h"
#include "writers/boot_writer.h"

namespace platter::test {
namespace {

constexpr std::size_t kBlock = 512;
constexpr std::size_t kDriverStart = 64 * kBlock;
constexpr std::uint32_t kDriverBytes = 5000;

// The name by which a ROM knows that it is to verify the sum, as bytes.
const std::string kVerifiedName("\x4D\x61\x63\x69ntosh", 9);

void write_driver(Bytes& image, std::size_t entry) {
  for (std::uint32_t i = 0; i < kDriverBytes; ++i) {
    image[kDriverStart + i] = static_cast<std::byte>(i * 13 + 5);
  }
  const auto code = std::span(image).subspan(kDriverStart, kDriverBytes);
  fixtures::set_apm_boot(image, kBlock, entry,
                         {.bytes = kDriverBytes, .checksum = boot::apm_running_sum(code, 0)});
}

// The map, a driver of 20 blocks in entry 2, an HFS slice with boot blocks in entry 3.
Bytes disk(const std::string& driver_name = kVerifiedName) {
  Bytes image(512 * kBlock);
  fixtures::write_apm_drivers(image, 512, 512, {{.first = 64, .blocks = 20, .system = 1}});
  fixtures::write_apm_map(image, kBlock,
                          {{1, 63, "Map", fixtures::apm_type("partition_map"), 0x33},
                           {64, 32, driver_name, fixtures::apm_type("Driver"), 0x7F, "68000"},
                           {96, 400, "Corvid", fixtures::apm_type("HFS"), 0xB7}});
  write_driver(image, 2);
  image[96 * kBlock] = std::byte{0x4C};
  image[96 * kBlock + 1] = std::byte{0x4B};
  return image;
}

BootVerdict as_disk(Bytes image) {
  return judged(std::move(image), "m68k-apm", BootAs::disk);
}

TEST_CASE("m68k-apm: a disk with driver and boot blocks is ready") {
  CHECK(missing_from(as_disk(disk())).empty());
  CHECK(unusual(as_disk(disk())).empty());
  CHECK(as_disk(disk()).verdict == Verdict::ready);
  CHECK(judged(disk(), "ppc-of", BootAs::disk).verdict == Verdict::none);
  CHECK(judged(disk(), "i386", BootAs::disk).verdict == Verdict::none);
  const BootVerdict disc = judged(disk(), "m68k-apm", BootAs::optical);
  CHECK(disc.verdict == Verdict::ready);
  CHECK(unusual(disc) == "drive-block-size");
}

TEST_CASE("m68k-apm: each demanded condition spoiled alone is named") {
  const auto put = [](std::size_t at, std::uint8_t value) {
    return [=](Bytes& image) { image[at] = std::byte{value}; };
  };
  struct Case {
    const char* name;
    std::function<void(Bytes&)> spoil;
    const char* missing;
  };
  const Case cases[] = {
      {"driver map", put(0, 0), "driver-map"},
      {"map entry", put(kBlock, 0), "map-entry hfs-slice hfs-boot-blocks"},
      {"system type", put(18 + 7, 2), "driver-for-68k driver-inside driver-checksum"},
      {"no drivers", put(17, 0), "driver-for-68k driver-inside driver-checksum"},
      {"driver past the end", put(18 + 2, 9), "driver-inside"},
      {"driver bytes", put(kDriverStart + 100, 0), "driver-checksum"},
      {"stored sum", put(2 * kBlock + 119, 0), "driver-checksum"},
      {"type of the volume's slice", put(3 * kBlock + 48 + 6, 'Q'), "hfs-slice hfs-boot-blocks"},
      {"boot blocks", put(96 * kBlock, 0), "hfs-boot-blocks"},
  };
  for (const Case& each : cases) {
    CAPTURE(each.name);
    Bytes image = disk();
    each.spoil(image);
    CHECK(as_disk(image).verdict == Verdict::incomplete);
    CHECK(missing_from(as_disk(image)) == each.missing);
  }
}

TEST_CASE("m68k-apm: the sum counts only where the slice's name asks for it") {
  Bytes image = disk("Driver");
  image[kDriverStart + 100] ^= std::byte{1};
  CHECK(as_disk(image).verdict == Verdict::ready);
  const Survey survey = survey_bytes(image);
  const Finding* found = finding(survey, FindingCode::boot_checksum);
  REQUIRE(found != nullptr);
  CHECK(found->severity == Severity::note);

  Bytes verified = disk();
  verified[kDriverStart + 100] ^= std::byte{1};
  CHECK(finding(survey_bytes(verified), FindingCode::boot_checksum)->severity == Severity::fault);
}

TEST_CASE("m68k-apm: a slice that is not marked valid is unusual") {
  Bytes image = disk();
  image[3 * kBlock + 91] = std::byte{0};
  CHECK(as_disk(image).verdict == Verdict::ready);
  CHECK(unusual(as_disk(image)) == "slice-status");
}

}  // namespace
}  // namespace platter::test
