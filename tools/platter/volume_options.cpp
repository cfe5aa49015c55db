#include "volume_options.h"

#include <algorithm>
#include <map>

#include <fmt/format.h>

namespace platter::tool {
namespace {

const std::map<std::string, NameView> kViews = {{"best", NameView::best},
                                                {"plain", NameView::plain},
                                                {"rock-ridge", NameView::rock_ridge},
                                                {"joliet", NameView::joliet}};
const std::map<std::string, Charset> kCharsets = {{"ascii", Charset::ascii},
                                                  {"latin1", Charset::latin1},
                                                  {"cp437", Charset::cp437},
                                                  {"hfs-roman", Charset::hfs_roman}};

template <typename Value>
std::vector<std::string> keys_of(const std::map<std::string, Value>& map) {
  std::vector<std::string> keys;
  for (const auto& [key, value] : map)
    keys.push_back(key);
  return keys;
}

}  // namespace

VolumeChoice::VolumeChoice(Options& options) {
  CLI::App& app = options.app();
  app.add_option("--in", in, "only this layer and what is below it (see inspect)")
      ->option_text("LAYER");
  app.add_option("--view", view_, "names of an optical volume (default best)")
      ->option_text("best|plain|rock-ridge|joliet")
      ->check(CLI::IsMember(keys_of(kViews)));
  app.add_option("--charset", charset_, "how names are read where the volume does not say")
      ->option_text("ascii|latin1|cp437|hfs-roman")
      ->check(CLI::IsMember(keys_of(kCharsets)));
  app.add_flag("--ignore-case", ignore_case, "take capital and small letters of a PATH as equal");
}

VolumeOptions VolumeChoice::volume_options() const {
  VolumeOptions options{.names = kViews.at(view_)};
  if (!charset_.empty()) options.charset = kCharsets.at(charset_);
  return options;
}

bool tell_findings(std::vector<Finding> findings, Streams& streams) {
  std::ranges::stable_sort(findings, std::ranges::greater{}, &Finding::severity);
  for (const Finding& finding : findings) {
    complain(streams,
             fmt::format("{}: {}: {}{}", severity_name(finding.severity),
                         finding_kind(finding.code).code,
                         finding.layer.empty() ? "" : finding.layer + ": ", finding.message));
  }
  return any_fault(findings);
}

bool tell_archive(const Image& image, Streams& streams) {
  if (image.archive_members.empty()) return false;
  complain(streams,
           fmt::format("{}: this is an archive of {} files; name one: '{}::{}'", image.path,
                       image.archive_members.size(), image.path, image.archive_members.front()));
  return true;
}

int tell_no_volume(const Survey& survey, const Volumes& volumes, const std::string& in,
                   Streams& streams) {
  if (!volumes.not_listed.empty()) {
    const Layer& layer = *volumes.not_listed.front();
    complain(streams, fmt::format("{} ({}) is recognised, but its files cannot be listed", layer.id,
                                  layer.title));
  } else if (survey.layers.empty()) {
    complain(streams, fmt::format("{}: nothing is recognised in it, so there are no files",
                                  survey.image.path));
  } else {
    complain(streams, fmt::format("{}: no filesystem is found in {}", survey.image.path,
                                  in.empty() ? "it" : in));
  }
  return kFaultFound;
}

bool tell_unanswered(const Selection& selection, Streams& streams) {
  const std::vector<std::string> left = selection.unanswered();
  for (const std::string& path : left) {
    const bool pattern = path.find_first_of("*?[") != std::string::npos;
    complain(streams, fmt::format("no file {} '{}'", pattern ? "fits" : "is called", path));
  }
  return !left.empty();
}

}  // namespace platter::tool
