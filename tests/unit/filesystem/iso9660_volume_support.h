// What the tests of the files of ISO 9660 volumes share.
#pragma once

#include <map>
#include <memory>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "core/volume.h"
#include "files/content.h"
#include "files/walk.h"
#include "support/survey.h"
#include "support/tree.h"
#include "writers/iso9660_sketch.h"

namespace platter::test {

/// A volume in memory, opened.
struct OpenIso {
  View view;
  std::unique_ptr<Volume> volume;

  explicit OpenIso(std::vector<std::byte> bytes, NameView names = NameView::best,
                   std::string_view format = "iso9660")
      : view(view_of(std::move(bytes))), volume(open_volume(format, view, {.names = names})) {}

  /// The node of a path; fails the test when there is none.
  [[nodiscard]] NodeId at(std::string_view path) const {
    const auto place = find_path(*volume, path);
    if (!place) FAIL("there is no " << path);
    return place->node;
  }
  [[nodiscard]] Attributes attributes(std::string_view path) const {
    return volume->attributes(at(path));
  }
  [[nodiscard]] std::vector<Extent> extents(std::string_view path) const {
    std::vector<Extent> all;
    volume->each_extent(at(path), [&](const Extent& extent) {
      all.push_back(extent);
      return true;
    });
    return all;
  }
  /// Every path in the volume, with a '/' behind directories, in the order of the walk.
  std::vector<std::string> paths(std::vector<Finding>* findings = nullptr) const {
    std::vector<std::string> all;
    std::vector<Finding> said;
    walk(
        *volume, volume->root(), "",
        [&](const FileVisit& visit) {
          const bool directory = visit.attributes.type == NodeType::directory;
          all.push_back(std::string(visit.path) + (directory ? "/" : ""));
          return Step::go_on;
        },
        said);
    if (findings != nullptr) {
      *findings = std::move(said);
    } else {
      for (const Finding& finding : said)
        FAIL_CHECK(finding.message);
    }
    return all;
  }
  [[nodiscard]] std::string content(std::string_view path) const {
    std::string text;
    const auto missing =
        read_content(*volume, view, at(path),
                     [&](std::uint64_t offset, std::uint64_t, std::span<const std::byte> piece) {
                       text.resize(static_cast<std::size_t>(offset));
                       text.append(reinterpret_cast<const char*>(piece.data()), piece.size());
                       return true;
                     });
    if (!missing.empty()) return "missing";
    return text;
  }
  [[nodiscard]] std::vector<Finding> checked() const {
    volume->check_records();
    return volume->take_findings();
  }
};

/// The first finding with that code whose message holds the words, or nullptr.
inline const Finding* finding_with(const std::vector<Finding>& findings, FindingCode code,
                                   std::string_view words = "") {
  for (const Finding& finding : findings) {
    if (finding.code == code && finding.message.find(words) != std::string::npos) return &finding;
  }
  return nullptr;
}

inline std::string all_messages(const std::vector<Finding>& findings) {
  std::string text;
  for (const Finding& finding : findings)
    text += finding.message + "\n";
  return text;
}

}  // namespace platter::test
