// XFS volumes with contents of every kind.
#pragma once

#include <string>
#include <vector>

#include "core/digest.h"
#include "support/tree.h"
#include "writers/xfs_writer.h"

namespace platter::test {

struct XfsVolumeGiven {
  std::vector<std::byte> bytes;
  Tree tree;
};

/// A volume with files of all sizes around a block, holes, links of all lengths, directories of
/// every form, of which the largest has `many` names, and what was given as a tree.
inline XfsVolumeGiven xfs_volume(const fixtures::XfsOptions& options, std::size_t many) {
  fixtures::XfsWriter writer(options);
  XfsVolumeGiven given;
  std::int64_t time = -40'000'000;
  const auto add = [&](const std::string& path, const char* type, std::uint32_t permissions) {
    time += 86'413;
    const fixtures::UnixAttributes attributes{
        .permissions = permissions,
        .uid = 70'000 + static_cast<std::uint32_t>(given.tree.size()),
        .gid = 20,
        .modified = time};
    TreeFile& file = given.tree[path];
    file.type = type;
    file.mode = permissions;
    file.uid = attributes.uid;
    file.gid = attributes.gid;
    file.modified = time;
    if (file.type != "directory") file.links = 1;
    return attributes;
  };
  const auto sum_of = [](const std::string& text) {
    Sha256 digest;
    digest.update(std::as_bytes(std::span(text)));
    return digest.finish();
  };
  const auto file = [&](const std::string& path, const std::string& text) {
    writer.add_file(path, text, add(path, "file", 04711));
    given.tree[path].bytes = text.size();
    given.tree[path].sha256 = sum_of(text);
  };
  const auto sparse = [&](const std::string& path, std::uint64_t bytes,
                          const std::vector<fixtures::UnixPiece>& pieces) {
    writer.add_sparse_file(path, bytes, pieces, add(path, "file", 0600));
    std::string text(bytes, '\0');
    for (const fixtures::UnixPiece& piece : pieces)
      text.replace(piece.offset, piece.content.size(), piece.content);
    given.tree[path].bytes = bytes;
    given.tree[path].sha256 = sum_of(text);
  };
  const auto directory = [&](const std::string& path) {
    writer.add_directory(path, add(path, "directory", 02755));
  };
  file("empty", "");
  for (const std::size_t size : {1U, 511U, 512U, 513U, 1024U, 1025U, 4096U, 40'000U, 100'001U})
    file("size " + std::to_string(size), std::string(size, static_cast<char>('a' + size % 23)));
  file(std::string(255, 'n'), "a name of 255 bytes");
  sparse("holes", 90'000, {{5, "five"}, {30'000, std::string(9'000, 'h')}, {89'999, "e"}});
  sparse("hole at the end", 70'001, {{0, "start"}});
  sparse("all hole", 20'000, {});
  for (const std::size_t length : {1U, 155U, 156U, 157U, 700U, 1023U}) {
    const std::string path = "link of " + std::to_string(length);
    const std::string target(length, 't');
    writer.add_symlink(path, target, add(path, "symlink", 0777));
    given.tree[path].bytes = length;
    given.tree[path].target = target;
  }
  writer.add_device("device", false, 300, 70'000, add("device", "char-device", 0620));
  writer.add_fifo("pipe", add("pipe", "fifo", 0620));
  // Inside an inode, in one block, in blocks with a leaf, and the last as large as is asked for.
  const std::pair<const char*, std::size_t> directories[] = {
      {"none", 0}, {"short", 3}, {"block", 12}, {"leaf", 60}, {"many", many}};
  for (const auto& [path, count] : directories) {
    directory(path);
    for (std::size_t i = 0; i < count; ++i)
      file(std::string(path) + "/entry-" + std::to_string(i), i % 9 == 0 ? "x" : "");
  }
  directory("short/deeper");
  writer.add_link("short/again", "size 513");
  given.tree.at("size 513").links = 2;
  given.tree["short/again"] = given.tree.at("size 513");
  given.bytes = writer.build();
  return given;
}

}  // namespace platter::test
