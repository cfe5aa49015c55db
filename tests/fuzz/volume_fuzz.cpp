// Every question that a volume can be asked, for each filesystem by itself.
#include "files/check.h"
#include "files/content.h"
#include "files/walk.h"
#include "fuzz/volume_input.h"

using namespace platter;  // NOLINT(google-build-using-namespace): a program of few functions

namespace {

constexpr std::uint64_t kMostFiles = 100'000;
constexpr std::uint64_t kFilesRead = 200;

// By rising offset, without overlap, inside the file and inside the view.
void promise_extents(Volume& volume, const View& view, const FileVisit& file) {
  std::uint64_t end = 0;
  each_present_extent(volume, view, file.entry.node, [&](const Extent& extent) {
    fuzz::promise(extent.bytes != 0 && extent.offset >= end, "extents rise");
    end = saturating_add(extent.offset, extent.bytes);
    fuzz::promise(end <= file.attributes.bytes, "extents end with the file");
    fuzz::promise(extent.absent || (extent.start >= view.start() &&
                                    extent.start + extent.bytes <= view.start() + view.bytes()),
                  "extents lie in the view");
    return true;
  });
}

void promise_runs(Volume& volume, const View& view) {
  std::uint64_t next = view.start();
  volume.each_run([&](const BlockRun& run) {
    fuzz::promise(run.start == next && run.bytes != 0, "block runs follow one another");
    next = saturating_add(run.start, run.bytes);
    return true;
  });
}

std::uint64_t read_some(Volume& volume, const View& view, NodeId node) {
  std::uint64_t read = 0;
  (void)read_content(volume, view, node,
                     [&](std::uint64_t, std::uint64_t, std::span<const std::byte> bytes) {
                       read += bytes.size();
                       return read < 100'000;
                     });
  return read;
}

void promise_path(const FileVisit& file) {
  fuzz::promise(is_utf8(file.path) && is_utf8(file.name), "paths are UTF-8");
  fuzz::promise(file.path.find('\0') == std::string_view::npos, "paths have no NUL");
  fuzz::promise(!is_unusable_name(file.name), "names can be used here");
  fuzz::promise(file.exact == (file.path == file.raw_path), "exact says what it says");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Input input(data, size);
  const fuzz::VolumeInput opened(input);
  if (opened.volume == nullptr) return 0;
  Volume& volume = *opened.volume;
  const View& view = opened.view;

  std::uint64_t files = 0;
  std::string some_path;
  std::vector<Finding> findings;
  const WalkResult result = walk(
      volume, volume.root(), "",
      [&](const FileVisit& file) {
        promise_path(file);
        promise_extents(volume, view, file);
        volume.each_further_block(file.entry.node, [](const Extent&) { return true; });
        if (file.attributes.type == NodeType::symlink) {
          fuzz::promise(volume.link_target(file.entry.node).size() <= 65536, "links are short");
        }
        if (++files < kFilesRead) (void)read_some(volume, view, file.entry.node);
        if (files % 8 == 1) some_path = file.path;
        return files < kMostFiles ? Step::go_on : Step::stop;
      },
      findings, opened.order);
  fuzz::promise(!result.stopped, "a small image has few files");
  fuzz::promise(findings.size() < 20'000, "few findings");
  fuzz::promise_findings(findings);
  if (!some_path.empty()) (void)find_path(volume, some_path);
  promise_runs(volume, view);
  fuzz::promise_findings(check_volume(volume, view).findings);
  return 0;
}
