// Ordinary files of a stock machine and boot media that Debian ships: the first must not be taken
// for images, the second must be recognised for what they are.
#include <algorithm>
#include <filesystem>

#include <catch2/catch.hpp>

#include "core/image.h"
#include "support/survey.h"

namespace platter::test {
namespace {

// A bounded sample: every n-th of all regular files, so that every kind of file is met.
std::vector<std::string> sample_of_usr(std::size_t most) {
  std::vector<std::string> all;
  const auto options = std::filesystem::directory_options::skip_permission_denied;
  for (const auto& entry : std::filesystem::recursive_directory_iterator("/usr", options)) {
    std::error_code ignored;
    if (entry.is_symlink(ignored) || !entry.is_regular_file(ignored)) continue;
    all.push_back(entry.path().string());
  }
  std::ranges::sort(all);
  if (all.size() <= most) return all;
  std::vector<std::string> sample;
  for (std::size_t i = 0; i < most; ++i)
    sample.push_back(all[i * all.size() / most]);
  return sample;
}

// Files below /usr that really are images, boot sectors or filesystems.
bool is_an_image(const std::string& path) {
  for (const char* part :
       {"/grub-rescue/", "/memtest86", "/ipxe/", "/syslinux", "/SYSLINUX", "/ISOLINUX", "/isolinux",
        "/debian-installer/", "/qemu/", "/grub/", "/palo", "/seabios", ".img", ".iso", "/gxemul"}) {
    if (path.find(part) != std::string::npos) return true;
  }
  return false;
}

TEST_CASE("no ordinary file of a stock machine is taken for an image") {
  const auto files = sample_of_usr(20'000);
  CHECK(files.size() > 5'000);
  std::size_t looked_at = 0;
  for (const std::string& path : files) {
    if (is_an_image(path)) continue;
    CAPTURE(path);
    // As the bytes they are: unpacking every compressed manual page would test another thing.
    Image image;
    image.path = path;
    image.source = map_file(path);
    image.bytes = image.stored_bytes = image.source->size();
    const Survey found = survey(image);
    std::string layers;
    for (const Layer& layer : found.layers)
      layers += layer.id + " ";
    CHECK(layers == "");
    ++looked_at;
  }
  CHECK(looked_at > 5'000);
}

Survey survey_file(const std::string& path) {
  return survey(open_image(path));
}

// The media come from the Debian packages that each case names; tests/check installs them.
TEST_CASE(
    "the rescue disc of grub-rescue-pc is a volume with a boot record and a partitioned disk") {
  const Survey found = survey_file("/usr/lib/grub-rescue/grub-rescue-cdrom.iso");
  REQUIRE(layer(found, "iso9660") != nullptr);
  CHECK(std::get<bool>(*layer(found, "iso9660")->facts.find("el_torito")));
  CHECK(std::get<bool>(*layer(found, "iso9660")->facts.find("rock_ridge")));
  CHECK(layer(found, "mbr") != nullptr);
  CHECK_FALSE(any_fault(found.findings));
  INFO(findings_of(found));
}

TEST_CASE("the rescue floppy image of grub-rescue-pc is a hybrid disc too") {
  const Survey found = survey_file("/usr/lib/grub-rescue/grub-rescue-floppy.img");
  INFO(findings_of(found));
  CHECK(layer(found, "iso9660") != nullptr);
  CHECK(layer(found, "mbr") != nullptr);
  CHECK_FALSE(any_fault(found.findings));
}

TEST_CASE("the kernel and the boot programs of the netboot installer are no disk images") {
  // debian-installer-12-netboot-amd64 ships no mini.iso; a kernel has 55 AA at 510 and is no label.
  const std::string base = "/usr/lib/debian-installer/images/12/amd64/text/debian-installer/amd64/";
  for (const char* name : {"linux", "pxelinux.0", "grubx64.efi", "initrd.gz"}) {
    CAPTURE(name);
    const Survey found = survey_file(base + name);
    CHECK(found.layers.empty());
    CHECK_FALSE(any_fault(found.findings));
  }
}

TEST_CASE("the discs of memtest86+ and ipxe are sound volumes with a boot record") {
  for (const char* path : {"/usr/lib/memtest86+/memtest86+x64.iso",
                           "/usr/lib/memtest86+/memtest86+ia32.iso", "/usr/lib/ipxe/ipxe.iso"}) {
    CAPTURE(path);
    const Survey found = survey_file(path);
    INFO(findings_of(found));
    REQUIRE(layer(found, "iso9660") != nullptr);
    CHECK(std::get<bool>(*layer(found, "iso9660")->facts.find("el_torito")));
    CHECK_FALSE(any_fault(found.findings));
  }
}

}  // namespace
}  // namespace platter::test
