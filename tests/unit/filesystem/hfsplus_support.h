// Volumes of the HFS+ writer, and hands on their records.
#pragma once

#include <catch2/catch.hpp>

#include "fat_support.h"
#include "files/check.h"
#include "filesystem/hfs_structures.h"
#include "filesystem/hfsplus_names.h"
#include "writers/hfsplus_writer.h"

namespace platter::test {

using fixtures::HfsFork;
using fixtures::HfsPlusOptions;
using fixtures::HfsPlusWriter;
using namespace filesystem;  // NOLINT(google-build-using-namespace): the structure tables

inline constexpr std::int64_t kTime = 0xB8000000LL - 2082844800LL;

// A record of the catalog, to be changed: the first behind a key with that name.
inline std::byte* record_named(std::vector<std::byte>& bytes, const HfsPlusWriter& writer,
                               std::string_view name) {
  const std::string wanted = hfsplus_name_of(name);
  const auto found = std::search(
      bytes.begin() + static_cast<std::ptrdiff_t>(writer.catalog_place()), bytes.end(),
      wanted.begin(), wanted.end(), [](std::byte b, char c) { return b == std::byte(c); });
  REQUIRE(found != bytes.end());
  return &*found + wanted.size();
}
inline FieldWriter<kHfsPlusFile> file_named(std::vector<std::byte>& bytes,
                                            const HfsPlusWriter& writer, std::string_view name) {
  std::byte* at = record_named(bytes, writer, name);
  REQUIRE(FieldReader<kHfsPlusFile>(at, ByteOrder::big).get<"kind">() == 2);
  return {at, ByteOrder::big};
}
inline FieldWriter<kHfsPlusDirectory> directory_named(std::vector<std::byte>& bytes,
                                                      const HfsPlusWriter& writer,
                                                      std::string_view name) {
  std::byte* at = record_named(bytes, writer, name);
  REQUIRE(FieldReader<kHfsPlusDirectory>(at, ByteOrder::big).get<"kind">() == 1);
  return {at, ByteOrder::big};
}
inline FieldWriter<kHfsPlusHeader> header_of(std::vector<std::byte>& bytes) {
  return {bytes.data() + kHfsPlusHeaderPlace, ByteOrder::big};
}
inline FieldWriter<kHfsTreeHeader> catalog_head(std::vector<std::byte>& bytes,
                                                const HfsPlusWriter& writer) {
  return {bytes.data() + writer.catalog_place() + kHfsNode.bytes, ByteOrder::big};
}
inline FieldWriter<kHfsNode> catalog_node(std::vector<std::byte>& bytes,
                                          const HfsPlusWriter& writer, std::size_t number) {
  return {bytes.data() + writer.catalog_place() + number * 4096, ByteOrder::big};
}

inline std::string content_of(Volume& volume, const View& view, std::string_view path) {
  const auto found = find_path(volume, path);
  REQUIRE(found);
  std::string content;
  read_content(volume, view, found->node,
               [&](std::uint64_t, std::uint64_t, std::span<const std::byte> piece) {
                 for (const std::byte byte : piece)
                   content.push_back(static_cast<char>(byte));
                 return true;
               });
  return content;
}

inline std::size_t extents_of(Volume& volume, std::string_view path) {
  std::size_t extents = 0;
  volume.each_extent(find_path(volume, path)->node, [&](const Extent&) {
    ++extents;
    return true;
  });
  return extents;
}

inline HfsPlusWriter sample(HfsPlusOptions options = {}) {
  HfsPlusWriter writer(std::move(options));
  writer.add_file("Read Me", {"hello"}, {std::string(700, 'r')})
      .add_file("empty", {})
      .add_directory("Folder", {.permissions = 01775, .uid = 501, .gid = 20, .modified = 1'000'000})
      .add_file("Folder/in pieces", {std::string(40 * 1024 - 7, 'p'), 20})
      .add_directory("Folder/deeper");
  for (int i = 0; i < 40; ++i)
    writer.add_file("Folder/deeper/number " + std::to_string(i), {std::to_string(i)});
  return writer;
}
inline constexpr std::size_t kSampleNames = 46;

inline VolumeCheck checked(const std::vector<std::byte>& bytes) {
  const View view = view_of(bytes);
  return check_volume(*open_volume("hfsplus", view), view);
}
inline std::string complaints(const std::vector<std::byte>& bytes) {
  std::string all;
  for (const Finding& finding : checked(bytes).findings)
    all += finding.message + "\n";
  return all;
}

}  // namespace platter::test
