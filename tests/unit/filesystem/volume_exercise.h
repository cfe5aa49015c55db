// Everything a volume can be asked, for images that are not to be trusted.
#pragma once

#include <algorithm>
#include <memory>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "files/content.h"
#include "files/walk.h"
#include "formats.h"
#include "support/counting_source.h"
#include "support/survey.h"

namespace platter::test {

struct Exercise {
  std::uint64_t entries = 0;
  std::uint64_t extents = 0;
  std::uint64_t content = 0;  ///< bytes
  std::uint64_t runs = 0;
  std::uint64_t bytes_read = 0;
  bool opened = false;
  std::vector<Finding> findings;

  [[nodiscard]] std::string words() const {
    std::string all;
    for (const Finding& finding : findings)
      all += finding.message + "\n";
    return all;
  }
};

/// Asks a volume for all it has, and checks what must hold however damaged it is.
inline Exercise exercise(std::string_view format, std::vector<std::byte> bytes) {
  Exercise done;
  const auto source = std::make_shared<CountingSource>(std::move(bytes));
  const View view(source);
  const auto volume = find_format(format)->open(view, {});
  if (volume == nullptr) return done;
  done.opened = true;
  walk(
      *volume, volume->root(), "",
      [&](const FileVisit& visit) {
        if (++done.entries > 200000) return Step::stop;
        std::uint64_t next = 0;
        volume->each_extent(visit.entry.node, [&](const Extent& extent) {
          ++done.extents;
          CHECK(extent.bytes != 0);
          CHECK(extent.offset >= next);
          next = saturating_add(extent.offset, extent.bytes);
          return true;
        });
        CHECK(next <= visit.attributes.bytes);
        volume->each_further_block(visit.entry.node, [&](const Extent&) { return true; });
        if (visit.attributes.type == NodeType::symlink) volume->link_target(visit.entry.node);
        read_content(*volume, view, visit.entry.node,
                     [&](std::uint64_t, std::uint64_t, std::span<const std::byte> piece) {
                       done.content += piece.size();
                       return true;
                     });
        return Step::go_on;
      },
      done.findings);
  std::uint64_t place = 0;
  volume->each_run([&](const BlockRun& run) {
    CHECK(run.start == place);
    CHECK(run.bytes != 0);
    place = run.start + run.bytes;
    ++done.runs;
    return true;
  });
  volume->check_records();
  std::ranges::move(volume->take_findings(), std::back_inserter(done.findings));
  done.bytes_read = source->bytes_read;
  return done;
}

}  // namespace platter::test
