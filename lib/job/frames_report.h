// What `platter frames` has to say, put together once for words and for JSON.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "framing/examine.h"
#include "plan/block_map.h"
#include "survey/survey.h"

namespace platter {

/// Frames side by side that are bad in the same way and belong to the same thing.
struct BadFrameRun {
  std::uint64_t first = 0;
  std::uint64_t frames = 0;
  sector_code::FrameKind kind = sector_code::FrameKind::unknown;
  std::vector<std::string> wrong;  ///< any of: unreadable lost sync mode filler address edc ecc
  bool correctable = false;
  framing::PlainContent plain = framing::PlainContent::zeros;
  std::string belongs_to;  ///< "" when nothing that is known lies there

  [[nodiscard]] bool same_as(const BadFrameRun& next) const {
    return first + frames == next.first && kind == next.kind && wrong == next.wrong &&
           correctable == next.correctable && plain == next.plain && belongs_to == next.belongs_to;
  }
};

/// A file that was written.
struct WrittenFile {
  std::string path;
  std::uint64_t bytes = 0;
};

struct FramesReport {
  ImageFacts image;
  std::string layer;  ///< id of the framing layer
  bool repair = false;
  framing::Examination seen;
  std::vector<BadFrameRun> bad;  ///< ascending
  plan::BlockMap blocks;         ///< of the plain image: what is not sound there
  std::vector<Finding> findings;
  std::optional<WrittenFile> plain;
  std::optional<WrittenFile> framed;
};

/// Draws the conclusions from an examination.
/// \param straight  the survey of the same image; says what each bad frame belongs to
/// \param layer     id of its framing layer
/// \param plain     the plain image, when one was written
[[nodiscard]] FramesReport frames_report(framing::Examination seen, const StraightSurvey& straight,
                                         const std::string& layer, bool repair,
                                         std::optional<WrittenFile> plain);

/// A report about an image that has no frames, or that was put into frames.
[[nodiscard]] FramesReport frames_report_of_plain(const Survey& survey,
                                                  std::optional<WrittenFile> framed);

/// "corrected", "as stored", "zeros", "good".
[[nodiscard]] std::string_view plain_content_words(framing::PlainContent content) noexcept;

}  // namespace platter
