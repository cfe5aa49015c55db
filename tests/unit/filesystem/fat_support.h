// Opening FAT volumes in tests.
#pragma once

#include "core/claim.h"
#include "files/content.h"
#include "files/walk.h"
#include "support/survey.h"
#include "support/tree.h"
#include "writers/fat_writer.h"

namespace platter::test {

inline std::vector<Claim> claims_of(std::string_view format, const std::vector<std::byte>& bytes) {
  const View view = view_of(bytes);
  return find_format(format)->claims(view, {.image = view});
}

/// Everything that a walk and the checks have to say about the bytes.
struct Judged {
  Tree tree;
  std::vector<Finding> findings;

  [[nodiscard]] std::size_t count(Severity severity) const {
    std::size_t count = 0;
    for (const Finding& finding : findings)
      count += finding.severity == severity ? 1U : 0U;
    return count;
  }
  [[nodiscard]] bool says(std::string_view words) const {
    for (const Finding& finding : findings) {
      if (finding.message.find(words) != std::string::npos) return true;
    }
    return false;
  }
  [[nodiscard]] std::string all() const {
    std::string text;
    for (const Finding& finding : findings)
      text += finding.message + "\n";
    return text;
  }
};

inline Judged judge(std::string_view format, const std::vector<std::byte>& bytes,
                    const VolumeOptions& options = {}) {
  const View view = view_of(bytes);
  const auto volume = open_volume(format, view, options);
  Judged judged;
  judged.tree = tree_of_volume(*volume, view, &judged.findings);
  volume->check_records();
  for (Finding& finding : volume->take_findings())
    judged.findings.push_back(std::move(finding));
  return judged;
}

/// "used 3, free 5, ..." in the order of the disk, and whether the runs follow one another.
struct Runs {
  std::uint64_t used = 0;
  std::uint64_t free = 0;
  std::uint64_t bad = 0;
  std::uint64_t metadata = 0;
  bool without_gap = true;
  std::uint64_t end = 0;
};

inline Runs runs_of(Volume& volume) {
  Runs runs;
  volume.each_run([&](const BlockRun& run) {
    if (run.start != runs.end) runs.without_gap = false;
    runs.end = run.start + run.bytes;
    switch (run.use) {
      case BlockUse::used:
        runs.used += run.bytes;
        break;
      case BlockUse::free:
        runs.free += run.bytes;
        break;
      case BlockUse::bad:
        runs.bad += run.bytes;
        break;
      case BlockUse::metadata:
        runs.metadata += run.bytes;
        break;
    }
    return true;
  });
  return runs;
}

inline void put_little(std::vector<std::byte>& bytes, std::size_t at, std::uint64_t value,
                       std::size_t width) {
  encode_unsigned(std::span(bytes).subspan(at, width), value, ByteOrder::little);
}

/// A volume with files and directories, short and long names.
inline fixtures::FatWriter fat_sample(unsigned width) {
  fixtures::FatOptions options;
  options.width = width;
  if (width == 16) options.sectors = 8400;
  if (width == 32) options.sectors = 70000;
  fixtures::FatWriter writer(options);
  writer.add_file("README.TXT", "hello")
      .add_file("EMPTY", "")
      .add_directory("SUB")
      .add_file("SUB/A long name, of more than thirteen characters.text", std::string(1500, 'x'))
      .add_directory("SUB/deeper down")
      .add_file("SUB/deeper down/END", std::string(512, 'y'));
  return writer;
}

}  // namespace platter::test
