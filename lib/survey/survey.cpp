#include "survey/survey.h"

#include <algorithm>
#include <iterator>
#include <map>
#include <optional>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "formats.h"
#include "survey/guess.h"
#include "survey/review.h"

namespace platter {
namespace {

// Limits that no real disk comes near; a hostile image must not make the tree grow without end.
constexpr unsigned kDeepest = 6;
constexpr std::size_t kMostLayers = 4096;
// Frames of a swapped dump, or a swapped dump in frames; never more.
constexpr std::size_t kMostFramings = 2;

// A claim together with the format that made it.
struct Found {
  const Format* format;
  Claim claim;
};

class Walk {
 public:
  /// \param parent   id of the framing layer that the view lies behind, "" when there is none
  /// \param framings takes the framings that are undone; those on the way to the view are in it
  Walk(View image, std::string parent, std::vector<Finding>& findings,
       std::vector<UndoneFraming>& framings)
      : image_(std::move(image)),
        parent_(std::move(parent)),
        findings_(findings),
        framings_(framings) {}

  std::vector<Layer> everything() {
    const Context context{.image = image_};
    std::vector<Found> guesses;
    if (framings_.size() < kMostFramings) {
      for (Found& framing : ask(Stage::framing, image_, context, parent_)) {
        if (framing.claim.strength > Strength::shape) return {behind_framing(std::move(framing))};
        if (!guessed_) guesses.push_back(std::move(framing));
      }
    }
    const std::size_t said = findings_.size();
    std::vector<Layer> layers = behind_no_framing(context);
    if (!worth_guessing(layers)) return layers;
    for (Found& guess : guesses) {
      if (auto better = behind_guess(std::move(guess), layers)) {
        // What was found without it was no more than coincidence.
        findings_.erase(findings_.begin() + static_cast<std::ptrdiff_t>(said), findings_.end());
        std::ranges::move(better->findings, std::back_inserter(findings_));
        return {std::move(better->layer)};
      }
    }
    return layers;
  }

 private:
  struct Guessed {
    Layer layer;
    std::vector<Finding> findings;
  };

  std::vector<Layer> behind_no_framing(const Context& context) {
    std::vector<Found> volumes = ask(Stage::filesystem, image_, context, parent_);
    std::vector<Layer> layers;
    // Optical volumes belong to the image; a slice that starts with one is an alias of it.
    for (Found& found : volumes) {
      if (found.format->of_whole_image) {
        layers.push_back(volume_from(std::move(found), image_, context, parent_, 0));
      }
    }
    add_labels(layers, image_, context, parent_, 0);
    // Any other filesystem at the very start belongs to the slice that starts there, if one does.
    for (Found& found : volumes) {
      if (!found.format->of_whole_image && !alias_of(found)) {
        layers.push_back(volume_from(std::move(found), image_, context, parent_, 0));
      }
    }
    add_boot(layers, ask(Stage::boot, image_, context, parent_), parent_, 0);
    try {
      for (Finding& finding : review(layers, image_))
        findings_.push_back(std::move(finding));
    } catch (const IoError& error) {
      note_unreadable(error, parent_);
    }
    return layers;
  }

  // Framing is one layer with everything else behind it, in the coordinates of the plain image.
  Layer behind_framing(Found framing) {
    const std::shared_ptr<const ByteSource> plain = framing.claim.framed;
    Layer layer = layer_from(std::move(framing), parent_, LayerKind::framing);
    framings_.push_back({layer.id, image_.source(), plain});
    Walk behind(View(plain), layer.id, findings_, framings_);
    behind.guessed_ = guessed_ || layer.strength == Strength::shape;
    layer.layers = behind.everything();
    return layer;
  }

  // A framing that nothing but its result speaks for, when that is better than what was found
  // without it.
  std::optional<Guessed> behind_guess(Found guess, const std::vector<Layer>& without) {
    std::vector<Finding> findings;
    std::vector<UndoneFraming> framings = framings_;
    Walk trial(image_, parent_, findings, framings);
    Layer layer = trial.behind_framing(std::move(guess));
    if (!is_better(layer.layers, without)) return std::nullopt;
    framings_ = std::move(framings);
    return Guessed{std::move(layer), std::move(findings)};
  }

  std::vector<Found> ask(Stage stage, const View& view, const Context& context,
                         const std::string& parent) {
    std::vector<Found> all;
    for (const Format* format : all_formats()) {
      if (format->stage != stage) continue;
      if (stage == Stage::label && context.slice != nullptr && !format->inside_slices) continue;
      if (format->of_whole_image && context.slice != nullptr && view.start() == image_.start())
        continue;
      try {
        for (Claim& claim : format->claims(view, context))
          all.push_back({format, std::move(claim)});
      } catch (const IoError& error) {
        note_unreadable(error, parent);
      }
    }
    if (stage == Stage::filesystem) drop_shapes_beside_better(all);
    return all;
  }

  // A claim from shape alone never stands beside one with proof for the same bytes.
  static void drop_shapes_beside_better(std::vector<Found>& volumes) {
    const auto is_shape = [](const Found& found) {
      return found.claim.strength == Strength::shape;
    };
    if (!std::ranges::all_of(volumes, is_shape)) std::erase_if(volumes, is_shape);
  }

  void note_unreadable(const IoError& error, const std::string& layer) {
    if (!unreadable_.insert(error.offset()).second) return;
    findings_.push_back({Severity::fault, FindingCode::unreadable, layer, error.offset(),
                         error.bytes(), error.reason()});
  }

  void add_labels(std::vector<Layer>& layers, const View& view, const Context& context,
                  const std::string& parent, unsigned depth) {
    for (Found& found : ask(Stage::label, view, context, parent)) {
      if (!labels_seen_.insert({found.format, found.claim.start}).second) continue;
      const std::string format_id(found.format->id);
      std::vector<Found> boot = ask_below(found, view, context, parent);
      std::vector<Slice> slices = std::move(found.claim.slices);
      found.claim.slices.clear();
      Layer label = layer_from(std::move(found), parent, LayerKind::label);
      add_slices(label, std::move(slices), LayerKind::slice, format_id, depth);
      add_boot(label.layers, std::move(boot), label.id, depth);
      layers.push_back(std::move(label));
    }
  }

  // A filesystem with the boot code that belongs to it.
  Layer volume_from(Found found, const View& view, const Context& context,
                    const std::string& parent, unsigned depth) {
    std::vector<Found> boot = ask_below(found, view, context, parent);
    Layer volume = layer_from(std::move(found), parent, LayerKind::filesystem);
    add_boot(volume.layers, std::move(boot), volume.id, depth);
    return volume;
  }

  std::vector<Found> ask_below(const Found& found, const View& view, Context context,
                               const std::string& parent) {
    context.below = &found.claim;
    context.below_format = found.format->id;
    return ask(Stage::boot, view, context, parent);
  }

  // Boot code, and the images of a boot catalog with what they hold.
  void add_boot(std::vector<Layer>& layers, std::vector<Found> boot, const std::string& parent,
                unsigned depth) {
    for (Found& found : boot) {
      if (layer_count_ >= kMostLayers) return;
      if (!boot_seen_.insert({found.format, found.claim.start}).second) continue;
      const std::string format_id(found.format->id);
      std::vector<Slice> images = std::move(found.claim.slices);
      found.claim.slices.clear();
      Layer layer = layer_from(std::move(found), parent, LayerKind::boot);
      add_slices(layer, std::move(images), LayerKind::boot, format_id, depth);
      layers.push_back(std::move(layer));
    }
  }

  void add_slices(Layer& label, std::vector<Slice> slices, LayerKind kind,
                  const std::string& format, unsigned depth) {
    std::vector<Layer> children;
    for (const Slice& slice : slices) {
      if (++layer_count_ > kMostLayers) break;
      children.push_back({.id = label.id + "/" + slice.id,
                          .kind = kind,
                          .format = format,
                          .start = slice.start,
                          .bytes = slice.bytes,
                          .role = slice.role,
                          .facts = slice.facts});
    }
    // What spans the disk by custom is looked into last, so that a filesystem is reported in the
    // slice that was made for it.
    for (const bool whole : {false, true}) {
      for (std::size_t i = 0; i < children.size(); ++i) {
        if ((slices[i].role == SliceRole::whole_disk) == whole) {
          look_inside(children[i], slices[i], format, depth);
        }
      }
    }
    label.layers = std::move(children);
  }

  void look_inside(Layer& layer, const Slice& slice, const std::string& format, unsigned depth) {
    const bool closed = slice.role == SliceRole::container || slice.role == SliceRole::unused ||
                        slice.role == SliceRole::metadata;
    if (closed || depth >= kDeepest || slice.start >= image_.bytes()) return;
    const View view = slice_view(slice);
    const Context context{.image = image_, .slice = &slice, .label_format = format};
    std::vector<Found> volumes = ask(Stage::filesystem, view, context, layer.id);
    std::vector<Found> boot = ask(Stage::boot, view, context, layer.id);
    const bool smaller = view.bytes() < image_.bytes();
    if (smaller) add_labels(layer.layers, view, context, layer.id, depth + 1);
    for (Found& found : volumes) {
      if (const std::string* same = alias_of(found)) {
        layer.facts.set("same_as", *same);
        continue;
      }
      if (slice.role == SliceRole::swap && found.format->id != "swap") {
        findings_.push_back(
            {Severity::note, FindingCode::typed_swap, layer.id, found.claim.start,
             found.claim.bytes,
             fmt::format("slice {} is typed as swap and holds {}", slice.id, found.claim.title)});
      }
      layer.layers.push_back(volume_from(std::move(found), view, context, layer.id, depth + 1));
    }
    add_boot(layer.layers, std::move(boot), layer.id, depth + 1);
    if (view.start() == image_.start()) name_whole_image_volume(layer);
  }

  // What of the declared range the image holds.
  [[nodiscard]] View slice_view(const Slice& slice) const {
    return image_.sub(slice.start - image_.start(), slice.bytes);
  }

  void name_whole_image_volume(Layer& layer) const {
    for (const auto& [key, id] : volumes_seen_) {
      if (key.first->of_whole_image && key.second == image_.start()) layer.facts.set("same_as", id);
    }
  }

  [[nodiscard]] const std::string* alias_of(const Found& found) const {
    const auto seen = volumes_seen_.find({found.format, found.claim.start});
    return seen == volumes_seen_.end() ? nullptr : &seen->second;
  }

  Layer layer_from(Found found, const std::string& parent, LayerKind kind) {
    Claim& claim = found.claim;
    std::string id = parent.empty() ? std::string(found.format->id)
                                    : fmt::format("{}/{}", parent, found.format->id);
    // Two labels of one format side by side: the second is told apart by a number.
    const std::size_t twin = ++id_count_[id];
    if (twin > 1) id += fmt::format("-{}", twin);
    if (kind == LayerKind::filesystem) {
      volumes_seen_.emplace(std::pair(found.format, claim.start), id);
    }
    for (Finding& finding : claim.findings) {
      finding.layer = id;
      findings_.push_back(std::move(finding));
    }
    ++layer_count_;
    return {.id = std::move(id),
            .kind = kind,
            .format = std::string(found.format->id),
            .start = claim.start,
            .bytes = claim.bytes,
            .strength = claim.strength,
            .title = std::move(claim.title),
            .facts = std::move(claim.facts),
            .records = std::move(claim.records)};
  }

  View image_;
  std::string parent_;
  std::vector<Finding>& findings_;
  std::vector<UndoneFraming>& framings_;
  bool guessed_ = false;  // a guess is on the way to the view; one is enough
  std::size_t layer_count_ = 0;
  std::map<std::string, std::size_t> id_count_;
  std::set<std::pair<const Format*, std::uint64_t>> labels_seen_;
  std::set<std::pair<const Format*, std::uint64_t>> boot_seen_;
  std::map<std::pair<const Format*, std::uint64_t>, std::string> volumes_seen_;
  std::set<std::uint64_t> unreadable_;
};

void note_archive(Survey& result, const Image& image) {
  if (image.archive_members.empty()) return;
  std::string names;
  constexpr std::size_t kShown = 8;
  for (std::size_t i = 0; i < std::min(image.archive_members.size(), kShown); ++i) {
    names += (i == 0 ? "" : ", ") + printable(image.archive_members[i]);
  }
  if (image.archive_members.size() > kShown) names += ", ...";
  result.findings.push_back(
      {Severity::note, FindingCode::archive_members, "", 0, image.stored_bytes,
       fmt::format("this is an archive of {} files: {}", image.archive_members.size(), names)});
}

}  // namespace

StraightSurvey survey_straight(const Image& image) {
  StraightSurvey straight;
  Survey& result = straight.survey;
  result.image = {image.path, image.bytes, image.stored_bytes, image.container, image.member};
  const View whole(image.source);
  result.layers = Walk(whole, "", result.findings, straight.framings).everything();
  straight.plain = straight.framings.empty() ? image.source : straight.framings.back().plain;
  try {
    result.boot = judge_boot({result.layers, View(straight.plain)});
  } catch (const IoError& error) {
    // Most of what machines look at was read before; a place is told once.
    const auto told = [&](const Finding& finding) {
      return finding.code == FindingCode::unreadable && finding.start == error.offset();
    };
    if (std::ranges::none_of(result.findings, told)) {
      result.findings.push_back({Severity::fault, FindingCode::unreadable, "", error.offset(),
                                 error.bytes(), error.reason()});
    }
  }
  note_archive(result, image);
  std::ranges::stable_sort(result.findings, std::ranges::greater{}, &Finding::severity);
  return straight;
}

Survey survey(const Image& image) {
  return survey_straight(image).survey;
}

}  // namespace platter
