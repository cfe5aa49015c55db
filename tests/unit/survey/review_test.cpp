// Cross-checks over a finished tree, each against a tree built by hand: what is a fault, what is
// not.
#include "survey/review.h"

#include <catch2/catch.hpp>

#include "job/fit.h"
#include "support/survey.h"

namespace platter {
namespace {

constexpr std::uint64_t kBlock = 512;

View image_of(std::uint64_t blocks) {
  return test::view_of(std::vector<std::byte>(static_cast<std::size_t>(blocks * kBlock)));
}

Layer slice(const std::string& id, std::uint64_t begins, std::uint64_t blocks,
            SliceRole role = SliceRole::data) {
  Layer layer;
  layer.id = "label/" + id;
  layer.kind = LayerKind::slice;
  layer.format = "label";
  layer.start = begins * kBlock;
  layer.bytes = blocks * kBlock;
  layer.role = role;
  return layer;
}

Layer label(std::vector<Layer> slices, std::uint64_t blocks = 0) {
  Layer layer;
  layer.id = layer.format = "label";
  layer.bytes = blocks * kBlock;
  layer.layers = std::move(slices);
  return layer;
}

Layer volume(const std::string& format, std::uint64_t begins, std::uint64_t blocks) {
  Layer layer;
  layer.id = layer.format = format;
  layer.kind = LayerKind::filesystem;
  layer.start = begins * kBlock;
  layer.bytes = blocks * kBlock;
  return layer;
}

std::vector<FindingCode> codes(const std::vector<Finding>& findings) {
  std::vector<FindingCode> result;
  for (const Finding& finding : findings)
    result.push_back(finding.code);
  return result;
}

TEST_CASE("a tree that fits its image gives no finding") {
  const std::vector<Layer> tree{label({slice("a", 0, 60), slice("b", 60, 40, SliceRole::swap),
                                       slice("c", 0, 100, SliceRole::whole_disk)},
                                      100)};
  CHECK(review(tree, image_of(100)).empty());
}

TEST_CASE("an image that is cut short is said once, and each slice that loses data") {
  const std::vector<Layer> tree{label({slice("a", 0, 60), slice("b", 60, 40), slice("d", 90, 0),
                                       slice("c", 0, 100, SliceRole::whole_disk)})};
  const auto findings = review(tree, image_of(70));
  REQUIRE(codes(findings) == std::vector{FindingCode::slice_beyond_end, FindingCode::image_short});
  CHECK(findings[0].layer == "label/b");
  CHECK(findings[0].start == 70 * kBlock);
  CHECK(findings[0].bytes == 30 * kBlock);
  CHECK(findings[1].message == "slice b ends 30 blocks past the end of the image");
  CHECK(findings[1].severity == Severity::fault);
}

TEST_CASE("a label's own blocks and free space may be declared past the end") {
  for (const SliceRole role : {SliceRole::metadata, SliceRole::unused}) {
    CHECK(review({label({slice("a", 0, 60), slice("1", 1, 5000, role)})}, image_of(70)).empty());
  }
}

TEST_CASE("a geometry larger than the image is a note while every slice is there") {
  const auto findings = review({label({slice("a", 0, 50)}, 100)}, image_of(80));
  REQUIRE(codes(findings) == std::vector{FindingCode::image_short});
  CHECK(findings[0].severity == Severity::note);
}

TEST_CASE("overlap is a fault between slices of data only") {
  const auto overlapping = [](SliceRole role) {
    return review({label({slice("a", 0, 60), slice("x", 50, 50, role)})}, image_of(100));
  };
  CHECK(codes(overlapping(SliceRole::data)) == std::vector{FindingCode::slice_overlap});
  CHECK(codes(overlapping(SliceRole::swap)) == std::vector{FindingCode::slice_overlap});
  for (const SliceRole custom : {SliceRole::whole_disk, SliceRole::container, SliceRole::metadata,
                                 SliceRole::file, SliceRole::unused}) {
    CHECK(overlapping(custom).empty());
  }
  Layer alias = slice("1", 0, 100);
  alias.facts.set("same_as", "iso9660");
  CHECK(review({label({alias, slice("2", 20, 10)})}, image_of(100)).empty());
  CHECK(review({label({slice("a", 0, 50), slice("b", 50, 50)})}, image_of(100)).empty());
}

TEST_CASE("hundreds of overlapping slices do not give hundreds of findings") {
  std::vector<Layer> slices;
  for (int i = 0; i < 100; ++i)
    slices.push_back(slice(std::to_string(i), 0, 100));
  CHECK(review({label(slices)}, image_of(100)).size() <= 16);
}

TEST_CASE("a filesystem larger than its slice is a fault of the filesystem") {
  Layer a = slice("a", 0, 50);
  a.layers.push_back(volume("ffs", 0, 51));
  const auto findings = review({label({a})}, image_of(100));
  REQUIRE(codes(findings) == std::vector{FindingCode::filesystem_exceeds_slice});
  CHECK(findings[0].layer == "ffs");
  CHECK(findings[0].bytes == kBlock);
}

TEST_CASE("up to 150 sectors of zeros behind an optical volume are a note") {
  const auto behind = [](std::uint64_t sectors, std::byte last) {
    std::vector<std::byte> bytes((100 + sectors) * 2048);
    bytes.back() = last;
    return review({volume("iso9660", 0, 400)}, test::view_of(bytes)).at(0);
  };
  CHECK(behind(1, std::byte{0}).severity == Severity::note);
  CHECK(behind(150, std::byte{0}).severity == Severity::note);
  CHECK(behind(151, std::byte{0}).severity == Severity::caution);
  CHECK(behind(1, std::byte{1}).severity == Severity::caution);
  CHECK(behind(1, std::byte{1}).code == FindingCode::image_long);
}

TEST_CASE("an image of no whole number of blocks is a caution, where anything was found") {
  const View odd = test::view_of(std::vector<std::byte>(100 * kBlock + 5));
  const auto findings = review({label({slice("a", 0, 50)})}, odd);
  REQUIRE(codes(findings) == std::vector{FindingCode::image_odd_size});
  CHECK(findings[0].start == 100 * kBlock);
  CHECK(findings[0].bytes == 5);
  CHECK(review({}, odd).empty());
}

TEST_CASE("two filesystems in one place are ambiguous, a disc that is also a disk is not") {
  const auto findings = review({volume("ffs", 0, 100), volume("ext2", 0, 100)}, image_of(100));
  CHECK(codes(findings) == std::vector{FindingCode::ambiguous});
  CHECK(review({volume("iso9660", 0, 100), volume("hfs", 0, 100)}, image_of(100)).empty());
}

TEST_CASE("fit compares the image and what its layers claim with the region") {
  Survey survey;
  survey.image.bytes = 100 * kBlock;
  survey.layers = {label({slice("a", 0, 60), slice("c", 0, 120, SliceRole::whole_disk)})};

  const Fit exact = fit(survey, 0, 120 * kBlock);
  CHECK(exact.fits);
  CHECK(exact.spare_bytes == 20 * 512);
  CHECK(exact.claimed_bytes == 120 * kBlock);

  const Fit claim_too_large = fit(survey, 10 * kBlock, 110 * kBlock);
  CHECK_FALSE(claim_too_large.fits);
  REQUIRE(claim_too_large.findings.size() == 1);
  CHECK(claim_too_large.findings[0].layer == "label/c");
  CHECK(claim_too_large.spare_bytes == 10 * 512);

  const Fit too_small = fit(survey, 0, 99 * kBlock);
  CHECK_FALSE(too_small.fits);
  CHECK(too_small.spare_bytes == -512);
  CHECK(any_fault(too_small.findings));

  // What no machine reads as it stands may still fit.
  Layer frames;
  frames.id = frames.format = "frames-2352";
  frames.kind = LayerKind::framing;
  survey.layers = {frames};
  const Fit framed = fit(survey, 0, 120 * kBlock);
  CHECK(framed.fits);
  REQUIRE(framed.findings.size() == 1);
  CHECK(framed.findings[0].code == FindingCode::raw_frames);
  CHECK(framed.findings[0].severity == Severity::caution);

  Layer swap = frames;
  swap.id = swap.format = "swap16";
  survey.layers = {swap};
  const Fit swapped = fit(survey, 0, 120 * kBlock);
  CHECK(swapped.fits);
  CHECK(codes(swapped.findings) == std::vector{FindingCode::bytes_swapped});
}

}  // namespace
}  // namespace platter
