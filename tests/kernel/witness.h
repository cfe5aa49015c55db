// What the kernel and platter say about the same images, side by side.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "kernel/guest.h"
#include "kernel/images.h"

namespace platter::test {

struct WitnessedTable {
  const TableImage* image = nullptr;
  std::vector<GuestSlice> ours = {};  ///< without numbers when the kernel counts in another way
  GuestAnswer theirs = {};
};

struct WitnessedVolume {
  VolumeImage image;
  Listing ours = {};  ///< in the driver's habits, without what the filesystem does not keep
  std::optional<Listing> given = {};  ///< likewise; stock makers: nothing
  Listing theirs = {};
  GuestAnswer answer = {};
  std::vector<std::string> idle_habits = {};  ///< explanations that changed nothing

  /// Everything that does not agree; "" when all does.
  [[nodiscard]] std::string disagreement() const;
};

struct Witnessed {
  std::string kernel = {};
  std::vector<WitnessedTable> tables = {};
  std::vector<WitnessedVolume> volumes = {};
  std::string trouble = {};  ///< why there is no answer
};

/// One boot for all images.
[[nodiscard]] const Witnessed& witnessed();

/// "1:63+1000 " and so on: number, first block and count.
[[nodiscard]] std::string words_of(const std::vector<GuestSlice>& slices);

/// The page docs/kernel-evidence.md.
[[nodiscard]] std::string kernel_evidence_page(const Witnessed& all);

}  // namespace platter::test
