// What libblkid (util-linux) says about the filesystem in a file.
#pragma once

#include <array>
#include <memory>
#include <string>

#include <blkid/blkid.h>
#include <catch2/catch.hpp>

namespace platter::test {

class BlkidProbe {
 public:
  explicit BlkidProbe(const std::string& path)
      : probe_(blkid_new_probe_from_filename(path.c_str()), blkid_free_probe) {
    REQUIRE(probe_ != nullptr);
    REQUIRE(blkid_probe_enable_superblocks(probe_.get(), 1) == 0);
    REQUIRE(blkid_probe_set_superblocks_flags(
                probe_.get(), BLKID_SUBLKS_DEFAULT | BLKID_SUBLKS_VERSION | BLKID_SUBLKS_MAGIC) ==
            0);
  }

  /// Whether it finds exactly one filesystem.
  bool safe() { return blkid_do_safeprobe(probe_.get()) == 0; }
  /// Looks for one type only, where a hybrid disc answers to several.
  bool only(const char* type) {
    std::array<char*, 2> names{const_cast<char*>(type), nullptr};
    blkid_probe_filter_superblocks_type(probe_.get(), BLKID_FLTR_ONLYIN, names.data());
    return safe();
  }
  /// A value of what was found, "" when it has none of that name.
  std::string value(const char* name) {
    const char* found = nullptr;
    return blkid_probe_lookup_value(probe_.get(), name, &found, nullptr) == 0 ? found : "";
  }

 private:
  std::unique_ptr<std::remove_pointer_t<blkid_probe>, void (*)(blkid_probe)> probe_;
};

/// One value of the one filesystem in a file.
inline std::string blkid_value(const std::string& path, const char* name) {
  BlkidProbe probe(path);
  REQUIRE(probe.safe());
  return probe.value(name);
}

}  // namespace platter::test
