#include "report/frames_json.h"

#include <fmt/format.h>

#include "report/json_values.h"

namespace platter {
namespace {

using framing::BadFrame;

Json modes_value(const framing::Examination& seen) {
  Json modes = Json::object();
  for (std::size_t i = 0; i < framing::kFrameKinds; ++i) {
    if (seen.kinds[i] == 0) continue;
    modes[std::string(sector_code::kind_name(static_cast<sector_code::FrameKind>(i)))] =
        seen.kinds[i];
  }
  return modes;
}

Json runs_value(const framing::Examination& seen) {
  Json runs = Json::array();
  for (const framing::FrameRun& run : seen.runs) {
    runs.push_back({{"content", run.audio ? "audio" : "data"},
                    {"first_frame", run.first},
                    {"frames", run.frames}});
  }
  return runs;
}

Json bad_value(const FramesReport& report) {
  Json all = Json::array();
  const framing::FrameLayout& layout = report.seen.layout;
  for (const BadFrameRun& run : report.bad) {
    Json value = {{"first_frame", run.first},
                  {"frames", run.frames},
                  {"start", layout.place_of(run.first)},
                  {"bytes", run.frames * layout.frame_bytes}};
    if (run.first >= layout.pregap) {
      value["plain_start"] = (run.first - layout.pregap) * sector_code::user_bytes;
    }
    if (layout.first_lba) {
      value["address"] =
          framing::address_words(*layout.first_lba + static_cast<std::int64_t>(run.first));
    }
    value["mode"] = sector_code::kind_name(run.kind);
    value["wrong"] = run.wrong;
    value["correctable"] = run.correctable;
    value["plain"] = plain_content_words(run.plain);
    value["belongs_to"] = json_text(run.belongs_to);
    all.push_back(std::move(value));
  }
  return all;
}

// Every byte that a correction changes. A headless frame has no bytes before its subheader; its
// codes never touch them.
Json repairs_value(const FramesReport& report) {
  Json all = Json::array();
  const framing::FrameLayout& layout = report.seen.layout;
  for (const BadFrame& frame : report.seen.bad) {
    if (!frame.correctable) continue;
    Json changes = Json::array();
    for (const sector_code::ChangedByte& change : frame.changes) {
      changes.push_back(
          {{"start", layout.place_of(frame.frame) + change.offset -
                         framing::missing_head(layout.headless())},
           {"before", fmt::format("{:02x}", std::to_integer<unsigned>(change.before))},
           {"after", fmt::format("{:02x}", std::to_integer<unsigned>(change.after))}});
    }
    all.push_back({{"frame", frame.frame}, {"changes", std::move(changes)}});
  }
  return all;
}

Json blocks_value(const plan::BlockMap& map) {
  Json all = Json::array();
  for (const plan::BlockRun& run : map.runs()) {
    all.push_back({{"start", run.start * plan::kBlockBytes},
                   {"bytes", run.blocks * plan::kBlockBytes},
                   {"state", plan::block_state_word(run.state)},
                   {"note", json_text(run.note)}});
  }
  return all;
}

Json written_value(const WrittenFile& file) {
  return {{"path", json_text(file.path)}, {"bytes", file.bytes}};
}

}  // namespace

std::string frames_json(const FramesReport& report) {
  const framing::Examination& seen = report.seen;
  const framing::FrameLayout& layout = seen.layout;
  Json document = {{"schema", "platter.frames/1"},
                   {"image", image_value(report.image)},
                   {"layer", report.layer},
                   {"frames", layout.frames},
                   {"frame_bytes", layout.frame_bytes},
                   {"modes", modes_value(seen)},
                   {"edc_bad", seen.edc_bad},
                   {"ecc_bad", seen.ecc_bad},
                   {"correctable", seen.correctable},
                   {"address_bad", seen.address_bad},
                   {"sync_bad", seen.sync_bad},
                   {"unreadable", seen.unreadable},
                   {"not_correctable", seen.hopeless()},
                   {"data_and_audio", seen.data_and_audio()}};
  if (layout.first_lba) document["first_address"] = framing::address_words(*layout.first_lba);
  if (layout.pregap != 0) document["pregap_frames"] = layout.pregap;
  document["runs"] = runs_value(seen);
  document["bad"] = bad_value(report);
  document["blocks"] = blocks_value(report.blocks);
  if (report.repair) document["repairs"] = repairs_value(report);
  if (report.plain) document["plain"] = written_value(*report.plain);
  if (report.framed) document["framed"] = written_value(*report.framed);
  document["findings"] = findings_value(report.findings);
  return document_text(document);
}

}  // namespace platter
