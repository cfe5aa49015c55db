// Damaged volumes never stop the reader, and it never says things about places that do not exist.
#include <random>

#include <catch2/catch.hpp>

#include "iso9660_support.h"
#include "support/hexfile.h"
#include "writers/iso9660_writer.h"

using namespace platter;
using namespace platter::test;

namespace {

// Bytes that change under a view, so that a thousand damaged images cost no copies.
class ChangingSource final : public ByteSource {
 public:
  explicit ChangingSource(std::vector<std::byte> bytes) : bytes_(std::move(bytes)) {}
  [[nodiscard]] std::uint64_t size() const noexcept override { return bytes_.size(); }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    const auto rest = std::span(bytes_).subspan(static_cast<std::size_t>(offset));
    const std::size_t count = std::min(rest.size(), out.size());
    std::ranges::copy(rest.first(count), out.begin());
    return count;
  }
  std::vector<std::byte>& bytes() noexcept { return bytes_; }

 private:
  std::vector<std::byte> bytes_;
};

// A small volume with everything in it.
std::vector<std::byte> full_volume() {
  fixtures::IsoOptions options;
  options.joliet = true;
  options.texts.volume_id = "HOSTILE";
  options.boot = fixtures::IsoBoot{.path = "boot.bin"};
  fixtures::Iso9660Writer writer(options);
  writer.add_file("boot.bin", "x").add_file("a/b/c/d", "y");
  writer.add_symlink("link", "../" + std::string(120, 't') + "/" + std::string(120, 'u'));
  return writer.build();
}

void check_places(const std::optional<Claim>& claim, std::uint64_t image_bytes) {
  if (!claim) return;
  for (const Finding& finding : claim->findings) {
    if (finding.start > image_bytes || finding.message.empty()) {
      FAIL("a finding at byte " << finding.start << ": " << finding.message);
    }
  }
  for (const RecordData& record : claim->records) {
    if (record.start >= image_bytes || record.present > record.bytes.size()) {
      FAIL("a record at byte " << record.start);
    }
  }
}

}  // namespace

TEST_CASE("a volume that is cut anywhere is read as far as it goes") {
  const auto bytes = full_volume();
  const View whole = iso_view(bytes);
  REQUIRE(iso_claim(whole)->findings.empty());
  for (std::uint64_t length = 0; length <= bytes.size(); ++length) {
    const auto claim = iso_claim(whole.sub(0, length));
    check_places(claim, length);
    // What is missing is the review's business; nothing that is there contradicts anything.
    if (claim && !claim->findings.empty()) {
      FAIL("cut to " << length << " bytes: " << claim->findings[0].message);
    }
    if (claim.has_value() != (length >= 0x8000 + 190)) FAIL("cut to " << length << " bytes");
  }
}

TEST_CASE("any byte of the structures may be wrong") {
  constexpr std::size_t kDescriptorsEnd = 0xA000;
  for (const auto& fixture : {full_volume(), hex_fixture("filesystem/iso9660/small.hex")}) {
    const auto source = std::make_shared<ChangingSource>(fixture);
    const View view(source);
    for (std::size_t at = 0x8000; at < fixture.size(); ++at) {
      // Behind the descriptors most bytes are zeros that nothing reads.
      if (at >= kDescriptorsEnd && fixture[at] == std::byte{0} && at % 16 != 0) continue;
      for (const int flip : {0x01, 0xFF}) {
        source->bytes()[at] ^= static_cast<std::byte>(flip);
        check_places(iso_claim(view), fixture.size());
        source->bytes()[at] = fixture[at];
      }
    }
  }
  SUCCEED("no crash");
}

TEST_CASE("many bytes of the structures may be wrong") {
  std::mt19937 random(9660);
  const auto good = full_volume();
  for (int round = 0; round < 4000; ++round) {
    auto bytes = good;
    const auto count = 1 + random() % 24;
    for (unsigned i = 0; i < count; ++i) {
      // Mostly the descriptors: their magic stays, so that the rest is looked at.
      const std::size_t at = 0x8007 + random() % (i % 3 == 0 ? bytes.size() - 0x8007 : 0x0300);
      bytes[at] = static_cast<std::byte>(random() % 2 == 0 ? random() : 0xFF);
    }
    check_places(iso_claim(std::move(bytes)), good.size());
  }
  SUCCEED("no crash");
}
