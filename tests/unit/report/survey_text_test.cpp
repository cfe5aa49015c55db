// The survey in words. The surveys are typed: no image is needed.
#include <catch2/catch.hpp>

#include "report/text.h"

namespace platter {
namespace {

constexpr std::uint64_t kBlock = 512;

Layer layer(std::string id, LayerKind kind, std::uint64_t first, std::uint64_t blocks,
            std::string title, std::vector<Layer> layers = {}) {
  Layer made;
  made.id = std::move(id);
  made.kind = kind;
  made.start = first * kBlock;
  made.bytes = blocks * kBlock;
  made.title = std::move(title);
  made.layers = std::move(layers);
  return made;
}

Layer slice(std::string id, std::uint64_t first, std::uint64_t blocks, std::string_view type,
            std::vector<Layer> layers = {}) {
  Layer made = layer(std::move(id), LayerKind::slice, first, blocks, "", std::move(layers));
  if (!type.empty()) made.facts.set("type_name", type);
  return made;
}

std::string words_of(std::vector<Layer> layers) {
  Survey survey;
  survey.image.path = "disk.img";
  survey.image.bytes = 1000 * kBlock;
  survey.layers = std::move(layers);
  return survey_text(survey, {});
}

// The line that starts, behind its blanks, with these words; "" when there is none.
std::string line_with(const std::string& text, std::string_view start) {
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    std::string line = text.substr(at, end - at);
    line.erase(0, line.find_first_not_of(' '));
    if (line.starts_with(start)) return line;
    at = end + 1;
  }
  return {};
}

TEST_CASE("words: each row of a label starts with the id that --in takes") {
  const std::string text = words_of({layer(
      "mbr", LayerKind::label, 0, 1000, "Master boot record",
      {slice("mbr/1", 63, 900, "BSD",
             {layer("mbr/1/bsd", LayerKind::label, 63, 900, "BSD label",
                    {slice("mbr/1/bsd/a", 63, 400, "4.2BSD",
                           {layer("mbr/1/bsd/a/ffs", LayerKind::filesystem, 63, 400, "FFS")})})}),
       slice("mbr/2", 963, 37, "")})});
  CHECK(line_with(text, "layer ") == "layer        type    begins  blocks      size  holds");
  CHECK(line_with(text, "mbr/1 ").find("mbr/1        BSD         63     900   450 KiB") == 0);
  CHECK(line_with(text, "mbr/1/bsd/a ").find("FFS") != std::string::npos);
  CHECK(line_with(text, "mbr/2 ").ends_with("  -"));
}

TEST_CASE("words: a column that no row fills is left out") {
  const std::string text = words_of(
      {layer("sun", LayerKind::label, 0, 1000, "Sun disk label", {slice("sun/a", 0, 100, "")})});
  CHECK(line_with(text, "layer ") == "layer  begins  blocks      size  holds");
  CHECK(line_with(text, "sun/a ") == "sun/a       0     100  50.0 KiB  -");
}

TEST_CASE("words: what would be squeezed beside long ids stands below its row") {
  Layer volume = layer("mbr/1/solaris-x86/0/ffs", LayerKind::filesystem, 0, 100, "FFS filesystem");
  volume.facts.set("last_mount", "/export/home/of/the/museum").set("clean", "clean");
  const std::string text = words_of(
      {layer("mbr/1/solaris-x86", LayerKind::label, 0, 1000, "label",
             {slice("mbr/1/solaris-x86/0", 0, 100, "alternate sectors", {std::move(volume)}),
              slice("mbr/1/solaris-x86/1", 100, 100, "swap")})});
  CHECK(line_with(text, "mbr/1/solaris-x86/0").ends_with("50.0 KiB"));
  CHECK(text.find("\n        FFS filesystem, 50.0 KiB, last mounted on") != std::string::npos);
  CHECK(line_with(text, "mbr/1/solaris-x86/1").ends_with("50.0 KiB  -"));
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    CHECK(end - at <= 80);
    at = end + 1;
  }
}

TEST_CASE(
    "words: a volume of the image itself, and the images of a boot catalog, name their layers") {
  Layer image = layer("iso9660/el-torito/1", LayerKind::boot, 100, 8, "");
  image.facts.set("platform", "i386").set("media", "no emulation");
  const std::string text =
      words_of({layer("iso9660", LayerKind::filesystem, 0, 1000, "ISO 9660 volume",
                      {layer("iso9660/el-torito", LayerKind::boot, 76, 4, "El Torito boot catalog",
                             {std::move(image)})})});
  CHECK(line_with(text, "layer: ") == "layer: iso9660");
  CHECK(line_with(text, "boot image ").starts_with("boot image iso9660/el-torito/1, i386, "));
}

}  // namespace
}  // namespace platter
