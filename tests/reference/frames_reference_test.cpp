// Frames against libcdio and libiso9660, which share no code with platter: a disc that platter puts
// into frames must be the same volume for them, and one that they read must be so for platter.
#include <catch2/catch.hpp>
#include <cdio/bytesex.h>
#include <cdio/iso9660.h>

#include "framing/enframe.h"
#include "framing/frame_layout.h"
#include "support/survey.h"
#include "writers/demo_images.h"

namespace platter::test {
namespace {

std::vector<std::byte> framed(const std::vector<std::byte>& plain) {
  std::vector<std::byte> frames(plain.size() / 2048 * 2352);
  REQUIRE(framing::enframe(
      MemorySource(plain), 1, [&](std::uint64_t offset, std::span<const std::byte> bytes) {
        std::ranges::copy(bytes, frames.begin() + static_cast<std::ptrdiff_t>(offset));
      }));
  return frames;
}

TEST_CASE("libiso9660 reads the same volume through platter's frames") {
  const TemporaryDirectory scratch;
  const auto plain = fixtures::demo_install_disc();
  const std::string path = scratch.file("disc.bin");
  write_file(path, framed(plain));
  // It looks for the volume in raw frames too.
  iso9660_t* const disc = iso9660_open_fuzzy(path.c_str(), 20);
  REQUIRE(disc != nullptr);
  char* id = nullptr;
  CHECK(iso9660_ifs_get_volume_id(disc, &id));
  REQUIRE(id != nullptr);
  const Survey found = survey_bytes(framed(plain));
  CHECK(fact(found, "frames-2352/iso9660", "volume_name") == id);
  std::free(id);
  // Every sector that it gives out is the plain one.
  std::size_t different = 0;
  for (std::size_t sector = 0; sector < plain.size() / 2048; ++sector) {
    std::array<std::byte, 2048> given{};
    REQUIRE(iso9660_iso_seek_read(disc, given.data(), static_cast<lsn_t>(sector), 1) == 2048);
    if (!std::equal(given.begin(), given.end(),
                    plain.begin() + static_cast<std::ptrdiff_t>(sector * 2048))) {
      ++different;
    }
  }
  CHECK(different == 0);
  iso9660_close(disc);
}

TEST_CASE("addresses are those of libcdio") {
  bool same = true;
  for (std::int32_t lba = 0; lba < 360'000; lba += 7) {
    msf_t msf{};
    cdio_lsn_to_msf(lba, &msf);
    const auto bytes = sector_code::address_bytes(lba);
    REQUIRE(bytes);
    same = same && (*bytes)[0] == std::byte{msf.m} && (*bytes)[1] == std::byte{msf.s} &&
           (*bytes)[2] == std::byte{msf.f};
  }
  CHECK(same);
}

}  // namespace
}  // namespace platter::test
