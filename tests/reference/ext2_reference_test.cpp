// ext2 and swap against what shares no code with platter: volumes made by mke2fs and mkswap, judged
// by libext2fs and libblkid.
#include <filesystem>
#include <memory>

#include <catch2/catch.hpp>
#include <ext2fs/ext2fs.h>

#include "core/claim.h"
#include "reference/blkid_probe.h"
#include "support/survey.h"

namespace platter::filesystem {
extern const Format ext2_format;
extern const Format swap_format;
}  // namespace platter::filesystem

namespace platter::test {
namespace {

std::vector<Claim> claims_of(const std::string& path, const Format& format) {
  const View view = view_of(read_file(path));
  return format.claims(view, {.image = view});
}

std::int64_t seconds(const Claim& claim, const char* name) {
  const FactValue* value = claim.facts.find(name);
  return value == nullptr ? 0 : std::get<Timestamp>(*value).seconds;
}

void compare_with_libext2fs(const std::string& path, const Claim& claim) {
  ext2_filsys volume = nullptr;
  REQUIRE(ext2fs_open(path.c_str(), EXT2_FLAG_64BITS, 0, 0, unix_io_manager, &volume) == 0);
  const std::unique_ptr<struct_ext2_filsys, errcode_t (*)(ext2_filsys)> keeper(volume,
                                                                               ext2fs_close);
  const ext2_super_block& super = *volume->super;
  const auto number = [&](const char* name) { return claim.facts.number(name, ~0ULL); };
  const std::uint64_t blocks = ext2fs_blocks_count(volume->super);
  CHECK(number("block_bytes") == volume->blocksize);
  CHECK(number("volume_bytes") == blocks * volume->blocksize);
  CHECK(number("used_bytes") ==
        (blocks - ext2fs_free_blocks_count(volume->super)) * volume->blocksize);
  CHECK(number("groups") == volume->group_desc_count);
  CHECK(number("inodes") == super.s_inodes_count);
  CHECK(number("free_inodes") == super.s_free_inodes_count);
  CHECK(number("revision") == super.s_rev_level);
  CHECK(number("clean_value") == super.s_state);
  CHECK(seconds(claim, "created") == super.s_mkfs_time);
  CHECK(seconds(claim, "modified") == super.s_wtime);
  if (super.s_rev_level == 0) return;
  CHECK(number("inode_bytes") == static_cast<std::uint64_t>(EXT2_INODE_SIZE(volume->super)));
  CHECK(number("features_compatible") == super.s_feature_compat);
  CHECK(number("features_incompatible") == super.s_feature_incompat);
  CHECK(number("features_read_only") == super.s_feature_ro_compat);
  CHECK(claim.facts.words("last_mount") ==
        std::string(reinterpret_cast<const char*>(super.s_last_mounted)));
}

TEST_CASE("ext2: volumes made by mke2fs", "[ext2]") {
  const TemporaryDirectory directory;
  std::filesystem::create_directories(directory.file("tree") + "/sub");
  write_file(directory.file("tree") + "/sub/file", std::vector<std::byte>(300000, std::byte{'x'}));
  const char* options[] = {"-t ext2 -b 1024",
                           "-t ext2 -b 1024 -r 0",
                           "-t ext2 -b 2048 -g 2048 -N 100",
                           "-t ext2 -b 4096 -O ^sparse_super,^resize_inode -I 256",
                           "-t ext2 -b 1024 -M /usr/local",
                           "-t ext3 -b 1024",
                           "-t ext4 -b 1024",
                           "-t ext4 -b 4096 -O 64bit,metadata_csum",
                           "-t ext4 -b 1024 -O ^64bit,^has_journal",
                           "-t ext4 -b 1024 -O bigalloc -C 16384"};
  for (const char* option : options) {
    const std::string path = directory.file("volume.img");
    std::filesystem::remove(path);
    const bool old = std::string(option).find("-r 0") != std::string::npos;
    const std::string command = "mke2fs -q -F " + std::string(option) + (old ? "" : " -L museum") +
                                " -d " + shell_word(directory.file("tree")) + " " +
                                shell_word(path) + " 20M 2>&1";
    const RunResult made = run(command);
    CAPTURE(command, made.out);
    REQUIRE(made.status == 0);
    const auto found = claims_of(path, filesystem::ext2_format);
    REQUIRE(found.size() == 1);
    const Claim& claim = found.front();
    CHECK(claim.strength == Strength::sane);
    for (const Finding& finding : claim.findings)
      FAIL_CHECK(finding.message);
    CHECK(claim.facts.words("byte_order") == "little");
    CHECK(claim.facts.words("clean") == "clean");
    compare_with_libext2fs(path, claim);
    BlkidProbe probe(path);
    REQUIRE(probe.safe());
    CHECK(claim.facts.words("variant") == probe.value("TYPE"));
    CHECK(std::to_string(claim.facts.number("block_bytes")) == probe.value("BLOCK_SIZE"));
    if (old) continue;
    CHECK(claim.facts.words("uuid") == probe.value("UUID"));
    CHECK(claim.facts.words("volume_name") == probe.value("LABEL"));
    CHECK(claim.facts.words("volume_name") == "museum");
  }
}

TEST_CASE("swap: areas made by mkswap", "[swap]") {
  const TemporaryDirectory directory;
  for (const unsigned page : {4096U, 8192U, 16384U, 65536U}) {
    const std::string path = directory.file("swap.img");
    write_file(path, std::vector<std::byte>(4 << 20));
    const std::string command =
        "mkswap -L museum -p " + std::to_string(page) + " " + shell_word(path) + " 2>&1";
    const RunResult made = run(command);
    CAPTURE(command, made.out);
    REQUIRE(made.status == 0);
    const auto found = claims_of(path, filesystem::swap_format);
    REQUIRE(found.size() == 1);
    const Claim& claim = found.front();
    CHECK(claim.findings.empty());
    CHECK(claim.bytes == 4 << 20);
    CHECK(claim.facts.number("block_bytes") == page);
    CHECK(claim.facts.number("last_page") == (4U << 20U) / page - 1);
    BlkidProbe probe(path);
    REQUIRE(probe.safe());
    CHECK(probe.value("TYPE") == "swap");
    CHECK(std::to_string(claim.facts.number("version")) == probe.value("VERSION"));
    CHECK(claim.facts.words("uuid") == probe.value("UUID"));
    CHECK(claim.facts.words("volume_name") == probe.value("LABEL"));
  }
}

}  // namespace
}  // namespace platter::test
