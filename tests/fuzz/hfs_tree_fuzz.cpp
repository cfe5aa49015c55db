// A B-tree of HFS by itself: the input is the tree's file, in one run or in two.
#include "filesystem/hfs_layout.h"
#include "filesystem/hfs_tree.h"
#include "fuzz/input.h"

using namespace platter;              // NOLINT(google-build-using-namespace)
using namespace platter::filesystem;  // NOLINT(google-build-using-namespace)

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Input input(data, size);
  const std::uint64_t half = input.take() * kHfsNodeBytes;
  const View view(fuzz::image_from(input));
  std::vector<HfsRun> runs = {{0, view.bytes()}};
  if (half != 0 && half < view.bytes()) runs = {{half, view.bytes() - half}, {0, half}};
  HfsTree tree(view, runs);

  std::uint64_t records = 0;
  const auto visit = [&](const HfsTreeNode& node, std::size_t index) {
    fuzz::promise(index < node.count(), "a record of its node");
    const auto record = node.record(index);
    fuzz::promise(hfs_record_data(record).size() <= record.size(), "data inside its record");
    const HfsCatalogKey key = hfs_catalog_key(record);
    fuzz::promise(compare_hfs_names(key.name, key.name) == 0, "a name equals itself");
    fuzz::promise(++records <= 4 * tree.nodes() * kHfsNodeBytes, "records come to an end");
    return true;
  };
  tree.each(visit);
  const std::uint64_t wanted = records / 2;
  tree.each_from(
      [&](std::span<const std::byte> record) { return hfs_catalog_key(record).parent < wanted; },
      visit);
  if (const auto problem = tree.take_problem()) {
    fuzz::promise(!problem->message.empty(), "a problem has words");
  }
  return 0;
}
