#include "job/propose_job.h"

#include <algorithm>

#include "job/card_job.h"
#include "plan/propose.h"

namespace platter {

std::string propose_card(const std::vector<std::string>& images, std::uint64_t card_bytes,
                         const std::string& card_path, const OpenOptions& options) {
  std::vector<plan::ProposedImage> proposed;
  for (const std::string& path : images) {
    const Survey found = survey(open_image(path, options));
    const plan::KnownImage known = known_image(found);
    const bool optical = std::ranges::any_of(found.layers, [](const Layer& layer) {
      return layer.format == "iso9660" || layer.format == "high-sierra";
    });
    proposed.push_back(
        {path, known.bytes, known.claimed_bytes, optical, optical ? std::nullopt : known.geometry});
  }
  return plan::propose_plan(proposed, card_bytes, card_path);
}

}  // namespace platter
